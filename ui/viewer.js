// Film and curves with one cursor. All text comes from the page's catalogue and is set as text.
export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".viewer");
  if (root.dataset.id === data.id) return;
  // Another flight in the same place: what runs is stopped, and the sketch keeps its place.
  const wasPlaying = root.dataset.playing === "yes";
  const before = Number(root.dataset.index || 0);
  if (root.stop) root.stop();
  root.dataset.id = data.id;
  root.replaceChildren();
  root.classList.toggle("single", !data.pictures.some((picture) => picture.column === "right"));
  const left = add(root, "div", "column");
  const right = add(root, "div", "column");
  const times = data.times;
  const urls = [];
  let index = 0;
  let playing = false;
  let stopped = false;
  let ticking = 0;

  const videos = [];
  if (data.films.length) {
    const row = add(left, "div", "films");
    for (const film of data.films) {
      const figure = add(row, "figure", "");
      if (film.caption) add(figure, "figcaption", "").textContent = film.caption;
      const video = add(figure, "video", "");
      video.muted = true;
      video.playsInline = true;
      video.preload = "auto";
      video.setAttribute("aria-label", film.says);
      videos.push(video);
      fill(video, film.address);
    }
    if (data.legend) add(left, "p", "legend").textContent = data.legend;
  }
  const sketch = data.sketch ? add(left, "canvas", "sketch") : null;
  if (sketch) {
    sketch.width = sketch.height = 960;
    sketch.setAttribute("role", "img");
    sketch.setAttribute("aria-label", data.sketch.says);
  }
  const scrub = add(left, "input", "");
  scrub.type = "range";
  scrub.min = 0;
  scrub.max = times.length - 1;
  scrub.step = 1;
  scrub.value = 0;
  scrub.setAttribute("aria-label", data.words.scrub);
  const controls = add(left, "div", "controls");
  const back = button(controls, "❮", data.words.back);
  const play = button(controls, data.words.play, data.words.play);
  play.classList.add("play");
  const forward = button(controls, "❯", data.words.forward);
  const speedLabel = add(controls, "label", "");
  speedLabel.append(data.words.speed + " ");
  const speed = add(speedLabel, "select", "");
  for (const choice of data.speeds) {
    const option = add(speed, "option", "");
    option.value = choice.rate;
    option.textContent = choice.name;
  }
  speed.value = data.speed;
  const readout = add(left, "div", "readout");
  readout.setAttribute("aria-live", "off");

  const shown = [];
  for (const picture of data.pictures) {
    const column = picture.column === "left" ? left : right;
    const figure = add(column, "figure", "picture" + (picture.times ? " time" : ""));
    figure.dataset.name = picture.name;
    for (const size of ["wide", "narrow"]) {
      const frame = add(figure, "div", "frame " + size);
      frame.innerHTML = picture[size]; // made by ui/drawing.py, which escapes every text
      const mark = picture.times ? add(frame, "div", "cursor") : null;
      let trail = null;
      if (picture.trail) {
        const svg = frame.querySelector("svg");
        trail = document.createElementNS("http://www.w3.org/2000/svg", "g");
        svg.append(trail);
      }
      shown.push({ picture, frame, mark, trail, box: picture[size + "_box"] });
      if (picture.times) {
        frame.addEventListener("pointerdown", (event) => drag(event, frame, picture, size));
        frame.addEventListener("pointermove", (event) => event.buttons && drag(event, frame, picture, size));
      }
    }
    const save = button(figure, "⤓", data.words.save);
    save.classList.add("save");
    save.addEventListener("click", () => savePicture(figure, picture.name, data.chart_css, getComputedStyle(root)));
  }

  function drag(event, frame, picture, size) {
    const area = frame.getBoundingClientRect();
    const [l, , r] = picture[size + "_box"];
    const share = ((event.clientX - area.left) / area.width - l) / (r - l);
    pause();
    go(nearest(picture.times[0] + share * (picture.times[1] - picture.times[0])));
  }

  function nearest(time) {
    let best = 0;
    for (let i = 1; i < times.length; i++) {
      if (Math.abs(times[i] - time) < Math.abs(times[best] - time)) best = i;
    }
    return best;
  }

  function go(i) {
    index = Math.max(0, Math.min(times.length - 1, i));
    for (const n of videos.keys()) seek(n);
    draw();
  }

  // Whole in memory, so that every frame can be shown at once.
  async function fill(video, address) {
    const answer = await fetch(address).catch(() => null);
    const film = answer && answer.ok ? await answer.blob() : null;
    if (!film || stopped) return;
    const url = URL.createObjectURL(film);
    urls.push(url);
    video.src = url;
  }

  // The middle of a frame's stay, so that exactly this frame is shown.
  function seek(n) {
    videos[n].currentTime = data.films[n].seeks[index];
  }

  function draw() {
    const time = times[index];
    scrub.value = index;
    scrub.setAttribute("aria-valuetext", data.readouts[index]);
    readout.textContent = data.readouts[index];
    root.dataset.index = index;
    if (sketch) drawSketch();
    for (const { picture, frame, mark, trail, box } of shown) {
      if (mark) {
        const share = (time - picture.times[0]) / (picture.times[1] - picture.times[0]);
        mark.style.left = 100 * (box[0] + Math.max(0, Math.min(1, share)) * (box[2] - box[0])) + "%";
        mark.style.top = 100 * box[1] + "%";
        mark.style.height = 100 * (box[3] - box[1]) + "%";
      }
      if (trail) drawTrail(trail, picture, frame.querySelector("svg"), time);
    }
  }

  // The arrow from behind: shaft from point to nock, three vanes, the nock on top.
  function drawSketch() {
    const pen = sketch.getContext("2d");
    const look = getComputedStyle(root);
    const colour = (name) => look.getPropertyValue("--st-" + name);
    const half = 480;
    const place = ([x, y]) => [half + (x / data.sketch.reach) * half, half - (y / data.sketch.reach) * half];
    pen.clearRect(0, 0, 960, 960);
    pen.strokeStyle = colour("border-color");
    pen.lineWidth = 2;
    for (const share of [0.25, 0.5, 0.75]) {
      pen.beginPath();
      pen.arc(half, half, half * share, 0, 7);
      pen.stroke();
    }
    pen.beginPath();
    pen.moveTo(half - 20, half);
    pen.lineTo(half + 20, half);
    pen.moveTo(half, half - 20);
    pen.lineTo(half, half + 20);
    pen.stroke();
    pen.strokeStyle = colour("orange-color");
    pen.lineWidth = 4;
    pen.beginPath();
    for (let i = Math.max(0, index - 40); i <= index; i++) pen.lineTo(...place(data.sketch.shape[i][0]));
    pen.stroke();
    const [nock, middle, point] = data.sketch.shape[index].map(place);
    pen.strokeStyle = colour("text-color");
    pen.lineWidth = 12;
    pen.lineCap = "round";
    pen.beginPath();
    pen.moveTo(...point);
    const bend = [2 * middle[0] - 0.5 * (nock[0] + point[0]), 2 * middle[1] - 0.5 * (nock[1] + point[1])];
    pen.quadraticCurveTo(...bend, ...nock);
    pen.stroke();
    pen.lineWidth = 10;
    const turn = data.sketch.roll * times[index];
    for (const [n, vane] of ["blue-color", "gray-color", "gray-color"].entries()) {
      const angle = turn + (2 * Math.PI * n) / 3;
      pen.strokeStyle = colour(vane);
      pen.beginPath();
      pen.moveTo(...nock);
      pen.lineTo(nock[0] + 70 * Math.cos(angle), nock[1] + 70 * Math.sin(angle));
      pen.stroke();
    }
    pen.fillStyle = colour("orange-color");
    pen.strokeStyle = colour("background-color");
    pen.lineWidth = 4;
    pen.beginPath();
    pen.arc(nock[0], nock[1], 26, 0, 7);
    pen.fill();
    pen.stroke();
    pen.fillStyle = colour("text-color");
    pen.font = "600 44px " + look.getPropertyValue("--st-font");
    pen.fillText(data.sketch.ring, half + 12, half * 0.5 - 10);
  }

  function drawTrail(group, picture, svg, time) {
    const { width, height } = svg.viewBox.baseVal;
    const past = picture.trail.filter((point) => point[0] <= time + 1e-9);
    group.replaceChildren();
    if (!past.length) return;
    const line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
    line.setAttribute("class", "trail");
    line.setAttribute("points", past.map((p) => p[1] * width + "," + p[2] * height).join(" "));
    const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    const last = past[past.length - 1];
    dot.setAttribute("cx", last[1] * width);
    dot.setAttribute("cy", last[2] * height);
    dot.setAttribute("r", 6);
    dot.setAttribute("class", "up_down mode");
    group.append(line, dot);
  }

  function start() {
    if (index >= times.length - 1) go(0);
    playing = true;
    root.dataset.playing = "yes";
    play.textContent = data.words.pause;
    play.setAttribute("aria-label", data.words.pause);
    for (const [n, video] of videos.entries()) {
      video.playbackRate = Number(speed.value);
      seek(n);
      video.play().catch(() => {});
    }
    let time = times[index];
    let before = performance.now();
    const tick = (now) => {
      if (!playing) return;
      if (videos.length === 1) {
        time = videos[0].currentTime / data.slow + data.films[0].starts;
      } else {
        time += (((now - before) / 1000) * Number(speed.value)) / data.slow;
        keepInStep(time);
      }
      before = now;
      while (index + 1 < times.length && times[index + 1] <= time) index += 1;
      draw();
      if (index >= times.length - 1 || (videos.length === 1 && videos[0].ended)) {
        if (data.loops) {
          go(0);
          time = times[0];
          for (const video of videos) video.play().catch(() => {});
        } else {
          pause();
          go(times.length - 1);
          return;
        }
      }
      ticking = requestAnimationFrame(tick);
    };
    ticking = requestAnimationFrame(tick);
  }

  function keepInStep(time) {
    for (const [n, video] of videos.entries()) {
      const wanted = (time - data.films[n].starts) * data.slow;
      if (wanted < 0) video.pause();
      else if (video.paused && !video.ended) video.play().catch(() => {});
      if (wanted >= 0 && Math.abs(video.currentTime - wanted) > 0.08) video.currentTime = wanted;
    }
  }

  function pause() {
    playing = false;
    root.dataset.playing = "no";
    cancelAnimationFrame(ticking);
    for (const video of videos) video.pause();
    play.textContent = data.words.play;
    play.setAttribute("aria-label", data.words.play);
  }

  play.addEventListener("click", () => (playing ? (pause(), go(index)) : start()));
  back.addEventListener("click", () => (pause(), go(index - 1)));
  forward.addEventListener("click", () => (pause(), go(index + 1)));
  scrub.addEventListener("input", () => (pause(), go(Number(scrub.value))));
  speed.addEventListener("change", () => {
    for (const video of videos) video.playbackRate = Number(speed.value);
  });

  function add(parent, tag, kind) {
    const child = document.createElement(tag);
    if (kind) child.className = kind;
    parent.append(child);
    return child;
  }

  function button(parent, face, says) {
    const made = add(parent, "button", "");
    made.type = "button";
    made.textContent = face;
    made.setAttribute("aria-label", says);
    made.title = says;
    return made;
  }

  for (const video of videos) {
    const come = () => {
      go(index);
      if (playing) video.play().catch(() => {});
    };
    video.addEventListener("loadeddata", come, { once: true });
  }
  root.stop = () => {
    playing = false;
    stopped = true;
    cancelAnimationFrame(ticking);
    for (const url of urls) URL.revokeObjectURL(url);
  };
  if (sketch) index = Math.min(before, times.length - 1);
  draw();
  if (sketch && wasPlaying) start();
  return () => root.stop();
}
