// One chart at the width of its place. The picture is made by ui/drawing.py, which escapes its text.
export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".figure");
  if (root.dataset.id === data.id) return;
  root.dataset.id = data.id;
  root.innerHTML =
    '<div class="frame wide">' + data.wide + '</div><div class="frame narrow">' + data.narrow + "</div>";
}
