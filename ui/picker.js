// Points on a still picture, in pixels of the film, by pointer or by arrow keys.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".picker");
  if (root.dataset.id === data.id) return;
  root.dataset.id = data.id;
  root.replaceChildren();
  const stage = add(root, "div", "stage");
  stage.tabIndex = 0;
  stage.setAttribute("role", "application");
  stage.setAttribute("aria-label", data.words.stage);
  const image = add(stage, "img", "");
  image.alt = data.words.alt;
  image.src = "data:image/jpeg;base64," + data.jpeg;
  const loupe = add(stage, "canvas", "loupe");
  loupe.width = loupe.height = 256;
  const row = add(root, "div", "row");
  const send = add(row, "button", "");
  send.type = "button";
  send.textContent = data.words.send;
  send.disabled = true;
  const where = add(row, "span", "where");
  where.textContent = data.words.hint;
  let points = [];
  let marks = [];
  let pen = [data.width / 2, data.height / 2];

  function place(event) {
    const area = image.getBoundingClientRect();
    // The middle of the top left pixel is (0, 0).
    const x = ((event.clientX - area.left) / area.width) * data.width - 0.5;
    const y = ((event.clientY - area.top) / area.height) * data.height - 0.5;
    return [Math.max(0, Math.min(data.width - 1, x)), Math.max(0, Math.min(data.height - 1, y))];
  }

  function look() {
    const context = loupe.getContext("2d");
    context.imageSmoothingEnabled = false;
    context.fillRect(0, 0, 256, 256);
    const seen = 32;
    context.drawImage(image, pen[0] + 0.5 - seen / 2, pen[1] + 0.5 - seen / 2, seen, seen, 0, 0, 256, 256);
    context.strokeStyle = "#ff8c28";
    context.lineWidth = 2;
    context.strokeRect(124, 124, 8, 8);
    loupe.classList.toggle("left", pen[0] > data.width * 0.6 && pen[1] < data.height * 0.5);
  }

  function set(point) {
    points = points.length >= data.points ? [point] : [...points, point];
    for (const mark of marks) mark.remove();
    marks = points.map(([x, y]) => {
      const mark = add(stage, "div", "mark");
      mark.style.left = (100 * (x + 0.5)) / data.width + "%";
      mark.style.top = (100 * (y + 0.5)) / data.height + "%";
      mark.innerHTML =
        '<svg viewBox="0 0 28 28"><circle cx="14" cy="14" r="9"/><circle class="top" cx="14" cy="14" r="9"/></svg>';
      return mark;
    });
    send.disabled = points.length < data.points;
    where.textContent = points.map(([x, y]) => x.toFixed(1) + ", " + y.toFixed(1) + " px").join("  ·  ");
    root.dataset.points = JSON.stringify(points);
  }

  stage.addEventListener("pointermove", (event) => {
    pen = place(event);
    look();
  });
  stage.addEventListener("click", (event) => {
    if (event.detail === 0) return;
    pen = place(event);
    look();
    set(pen);
  });
  stage.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 10 : 1;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (event.key in moves) {
      pen = [
        Math.max(0, Math.min(data.width - 1, pen[0] + moves[event.key][0])),
        Math.max(0, Math.min(data.height - 1, pen[1] + moves[event.key][1])),
      ];
      look();
      where.textContent = pen[0].toFixed(1) + ", " + pen[1].toFixed(1) + " px";
      event.preventDefault();
    } else if (event.key === "Enter") {
      set([...pen]);
      event.preventDefault();
    }
  });
  send.addEventListener("click", () => setTriggerValue("picked", { points, frame: data.frame }));
  image.addEventListener("load", look, { once: true });

  function add(parent, tag, kind) {
    const child = document.createElement(tag);
    if (kind) child.className = kind;
    parent.append(child);
    return child;
  }
}
