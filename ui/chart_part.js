// One chart at the width of its place. The picture is made by ui/drawing.py, which escapes its text.
export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".figure");
  if (root.dataset.id === data.id) return;
  root.dataset.id = data.id;
  root.innerHTML =
    '<div class="frame wide">' + data.wide + '</div><div class="frame narrow">' + data.narrow + "</div>";
  const save = document.createElement("button");
  save.type = "button";
  save.className = "save";
  save.textContent = "⤓";
  save.title = data.save;
  save.setAttribute("aria-label", data.save);
  save.addEventListener("click", () => savePicture(root, data.name, data.chart_css, getComputedStyle(root)));
  root.append(save);
}
