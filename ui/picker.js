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
  const loupe = add(root, "canvas", "loupe");
  loupe.width = loupe.height = 256;
  const row = add(root, "div", "row");
  const send = add(row, "button", "");
  send.type = "button";
  send.textContent = data.words.send;
  send.disabled = true;
  const where = add(row, "span", "where");
  where.textContent = data.words.hint;
  if (data.words.believed) add(root, "div", "row").textContent = data.words.believed;
  let points = [];
  let marks = [];
  let penMark = null;
  // On a drawn face there is nothing small to find: no loupe, and no pixels to read.
  loupe.hidden = Boolean(data.widest);
  root.style.maxWidth = data.widest ? data.widest + "px" : "";
  // Where the tool sees the nock is where somebody looks first.
  let pen = data.believed || [data.width / 2, data.height / 2];
  if (data.believed) mark("believed", data.believed);
  if (data.words.counted) where.textContent = data.words.counted[0];
  if (data.marked.length) show(data.marked);

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
    // In a wide picture the loupe stands in a corner: in the one where the arrow is not.
    const near = [pen, data.believed || pen].find(
      ([x, y]) => y < data.height * 0.5 && Math.abs(x / data.width - 0.5) > 0.1
    );
    loupe.classList.toggle("left", Boolean(near) && near[0] > data.width * 0.5);
  }

  function mark(kind, [x, y]) {
    const made = add(stage, "div", "mark " + kind);
    made.style.left = (100 * (x + 0.5)) / data.width + "%";
    made.style.top = (100 * (y + 0.5)) / data.height + "%";
    // The cross is open in the middle: it must not cover what it points at.
    const cross = 'd="M14 1v8M14 19v8M1 14h8M19 14h8"/>';
    const ring = 'cx="14" cy="14" r="9"/>';
    made.innerHTML =
      kind === "believed"
        ? '<svg viewBox="0 0 28 28"><path ' + cross + '<path class="top" ' + cross + "</svg>"
        : '<svg viewBox="0 0 28 28"><circle ' + ring + '<circle class="top" ' + ring + "</svg>";
    return made;
  }

  // Without a loupe, keys need to be seen where they point.
  function showPen() {
    hidePen();
    penMark = mark("believed", pen);
  }

  function hidePen() {
    if (penMark) penMark.remove();
    penMark = null;
  }

  function set(point) {
    hidePen();
    show(points.length >= data.points ? [point] : [...points, point]);
  }

  function show(wanted) {
    points = wanted;
    for (const old of marks) old.remove();
    marks = points.map((point) => mark("picked", point));
    send.disabled = points.length < data.points;
    const counted = data.words.counted;
    where.textContent = counted
      ? counted[points.length]
      : points.map(([x, y]) => x.toFixed(1) + ", " + y.toFixed(1) + " px").join("  ·  ");
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
      if (data.widest) showPen();
      else where.textContent = pen[0].toFixed(1) + ", " + pen[1].toFixed(1) + " px";
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
