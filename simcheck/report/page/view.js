// The flight in space, turned by pointer, buttons or keys. Everything is in radii of the ring, in
// the ring frame: x along the node, z along the normal.
"use strict";
for (const box of document.querySelectorAll(".view")) {
  const scene = JSON.parse(box.querySelector("script").textContent);
  const canvas = box.querySelector("canvas");
  const pen = canvas.getContext("2d");
  const slider = box.querySelector("input[type=range]");
  const clock = box.querySelector("output");
  const player = box.querySelector("[data-do=play]");
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const first = { turn: -0.61, tilt: 0.82, zoom: 1 };
  const end = scene.days.length ? scene.days[scene.days.length - 1] : 0;
  let eye = { ...first }, now = end, colours = {}, side = 0, tall = 0, playing = 0, asked = 0;

  const STEP = Math.PI / 18;
  const actions = {
    left: () => { eye.turn += STEP; },
    right: () => { eye.turn -= STEP; },
    up: () => { eye.tilt = Math.min(Math.PI / 2, eye.tilt + STEP); },
    down: () => { eye.tilt = Math.max(-Math.PI / 2, eye.tilt - STEP); },
    nearer: () => { eye.zoom = Math.min(12, eye.zoom * 1.25); },
    farther: () => { eye.zoom = Math.max(0.5, eye.zoom / 1.25); },
    above: () => { eye.turn = 0; eye.tilt = Math.PI / 2; },
    edge: () => { eye.turn = 0; eye.tilt = 0; },
    reset: () => { eye = { ...first }; },
    play: () => (playing ? stop() : start()),
  };
  const keys = {
    ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down",
    "+": "nearer", "=": "nearer", "-": "farther", "_": "farther", Home: "reset", " ": "play",
  };

  function readColours() {
    const style = getComputedStyle(box);
    for (const name of ["ink", "muted", "grid", "paper", "body", "c1", "c2", "c3", "c4"]) {
      colours[name] = style.getPropertyValue(`--${name}`).trim() || "#777";
    }
    colours.font = style.fontFamily;
  }

  function projection() {
    const ct = Math.cos(eye.turn), st = Math.sin(eye.turn);
    const ci = Math.cos(eye.tilt), si = Math.sin(eye.tilt);
    const scale = (tall / 2) * 0.94 / scene.size * eye.zoom;
    return (p) => {
      const x = ct * p[0] + st * p[1], y = -st * p[0] + ct * p[1];
      return [side / 2 + scale * x, tall / 2 - scale * (si * y + ci * p[2]), ci * -y + si * p[2], scale];
    };
  }

  // Behind the body: further off than its centre, and within its disc.
  function hidden(q) {
    const r = scene.body.radius * q[3];
    return q[2] < 0 && Math.hypot(q[0] - side / 2, q[1] - tall / 2) < r;
  }

  function curve(points, project, colour, width, dash) {
    if (points.length < 2) return;
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.setLineDash(dash || []);
    pen.beginPath();
    let drawing = false;
    for (const p of points) {
      const q = project(p);
      if (hidden(q)) { drawing = false; continue; }
      if (drawing) pen.lineTo(q[0], q[1]); else pen.moveTo(q[0], q[1]);
      drawing = true;
    }
    pen.stroke();
    pen.setLineDash([]);
  }

  function circle(radius, height, count = 120) {
    const points = [];
    for (let k = 0; k <= count; k++) {
      const a = (2 * Math.PI * k) / count;
      points.push([radius * Math.cos(a), radius * Math.sin(a), height]);
    }
    return points;
  }

  function around(p, angle) {
    const c = Math.cos(angle), s = Math.sin(angle);
    return [c * p[0] - s * p[1], s * p[0] + c * p[1], p[2]];
  }

  const taken = [];
  function label(text, q, colour, bold) {
    pen.font = `${bold ? 600 : 400} 13px ${colours.font}`;
    const w = pen.measureText(text).width, h = 15;
    const places = [[10, -8], [10, 18], [-10 - w, -8], [-10 - w, 18], [-w / 2, -16], [-w / 2, 26]];
    for (const [dx, dy] of places) {
      const at = [q[0] + dx, q[1] + dy - h, w, h];
      const free = at[0] > 2 && at[0] + w < side - 2 && at[1] > 2 && at[1] + h < tall - 2 &&
        taken.every((o) => at[0] > o[0] + o[2] || o[0] > at[0] + w || at[1] > o[1] + o[3] || o[1] > at[1] + h);
      if (!free) continue;
      taken.push(at);
      pen.lineWidth = 3;
      pen.strokeStyle = colours.paper;
      pen.strokeText(text, at[0], at[1] + h - 3);
      pen.fillStyle = colour;
      pen.fillText(text, at[0], at[1] + h - 3);
      return;
    }
  }

  function mark(q, shape, size, colour, filled) {
    pen.beginPath();
    if (shape === "triangle") {
      pen.moveTo(q[0], q[1] - size);
      pen.lineTo(q[0] + 0.9 * size, q[1] + 0.7 * size);
      pen.lineTo(q[0] - 0.9 * size, q[1] + 0.7 * size);
      pen.closePath();
    } else if (shape === "square") {
      pen.rect(q[0] - 0.8 * size, q[1] - 0.8 * size, 1.6 * size, 1.6 * size);
    } else {
      pen.arc(q[0], q[1], size, 0, 2 * Math.PI);
    }
    pen.fillStyle = filled ? colour : colours.paper;
    pen.fill();
    pen.lineWidth = 1.6;
    pen.strokeStyle = filled ? colours.paper : colour;
    pen.stroke();
  }

  // Where the craft is at a time, between two samples.
  function placeAt(days) {
    const t = scene.days;
    let low = 0, high = t.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (t[middle] <= days) low = middle; else high = middle;
    }
    const span = t[high] - t[low], part = span > 0 ? (days - t[low]) / span : 1;
    const p = scene.path[low], q = scene.path[high];
    return { index: low, at: p.map((x, k) => x + part * (q[k] - x)) };
  }

  function draw() {
    asked = 0;
    const ratio = window.devicePixelRatio || 1;
    side = canvas.clientWidth;
    if (!side) return;
    tall = canvas.clientHeight;
    if (canvas.width !== Math.round(side * ratio) || canvas.height !== Math.round(tall * ratio)) {
      canvas.width = Math.round(side * ratio);
      canvas.height = Math.round(tall * ratio);
    }
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, side, tall);
    pen.lineJoin = "round";
    taken.length = 0;
    const project = projection();
    const back = 2 * Math.PI * (now - end) / scene.period;
    const turned = (p) => around(p, back);
    body(project);
    curve(circle(1, 0), project, colours.muted, 1, [2, 4]);
    curve(scene.before, project, colours.c4, 1.6, [7, 4]);
    const craft = placeAt(now);
    curve(scene.path, project, colours.grid, 1.2);
    curve(scene.path.slice(0, craft.index + 1).concat([craft.at]), project, colours.c1, 1.8);
    const marks = [];
    const held = new Set(scene.members.map((one) => one.slot));
    scene.slots.forEach((slot, k) => marks.push([turned(slot), "circle", 4, "muted", false,
      k === scene.slot ? `slot ${k}` : held.has(k) ? "" : String(k), k === scene.slot]));
    for (const one of scene.members) {
      const there = one.slot !== null || now === end;
      if (there) marks.push([turned(one.at), "square", 5, "c3", true, one.name]);
    }
    for (const one of scene.burns) {
      if (one.start <= now) marks.push([one.at, "triangle", 7, "c2", true, one.label, true]);
    }
    marks.push([craft.at, "circle", 6, "c1", true, scene.craft, true]);
    for (const [p, shape, size, colour, filled] of marks) {
      const q = project(p);
      if (!hidden(q)) mark(q, shape, size, colours[colour], filled);
    }
    for (const [p, , , , , name, bold] of marks.reverse()) {
      const q = project(p);
      if (name && !hidden(q)) label(name, q, colours.ink, bold);
    }
    clock.textContent = `${now.toFixed(2)} days after the epoch`;
  }

  function body(project) {
    const q = project([0, 0, 0]), r = scene.body.radius * q[3];
    pen.beginPath();
    pen.arc(q[0], q[1], r, 0, 2 * Math.PI);
    pen.fillStyle = colours.body;
    pen.fill();
    pen.lineWidth = 1;
    pen.strokeStyle = colours.muted;
    pen.stroke();
    const pole = scene.pole, R = scene.body.radius;
    const flat = Math.hypot(pole[0], pole[1]);
    const east = flat > 1e-9 ? [-pole[1] / flat, pole[0] / flat, 0] : [1, 0, 0];
    const north = [pole[1] * east[2] - pole[2] * east[1], pole[2] * east[0] - pole[0] * east[2],
      pole[0] * east[1] - pole[1] * east[0]];
    for (const latitude of [-60, -30, 0, 30, 60]) {
      const s = Math.sin(latitude * Math.PI / 180), c = Math.cos(latitude * Math.PI / 180);
      const points = circle(1, 0, 72).map(([a, b]) =>
        [0, 1, 2].map((k) => R * (c * (a * east[k] + b * north[k]) + s * pole[k])));
      curve(points, project, colours.muted, latitude ? 0.4 : 0.9);
    }
    const top = pole.map((x) => 1.35 * R * x), foot = pole.map((x) => R * x);
    curve([foot, top], project, colours.muted, 1.2);
    if (r > 26) label(`${scene.body.name}, pole`, project(top), colours.muted, false);
  }

  function ask() {
    if (!asked) asked = requestAnimationFrame(draw);
  }

  function start() {
    if (now >= end) now = scene.days[0];
    let last = performance.now();
    const seconds = still.matches ? 60 : 20;
    player.textContent = "Stop";
    const step = (time) => {
      now = Math.min(end, now + (time - last) / 1000 * (end - scene.days[0]) / seconds);
      last = time;
      slider.value = String(now);
      draw();
      playing = now < end ? requestAnimationFrame(step) : 0;
      if (!playing) stop();
    };
    playing = requestAnimationFrame(step);
  }

  function stop() {
    cancelAnimationFrame(playing);
    playing = 0;
    player.textContent = "Play";
  }

  for (const button of box.querySelectorAll("button")) {
    button.addEventListener("click", () => { actions[button.dataset.do](); ask(); });
  }
  canvas.addEventListener("keydown", (event) => {
    if (!(event.key in keys) || event.ctrlKey || event.metaKey || event.altKey) return;
    actions[keys[event.key]]();
    event.preventDefault();
    ask();
  });
  let held = null;
  canvas.addEventListener("pointerdown", (event) => {
    held = [event.clientX, event.clientY];
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) return;
    eye.turn -= (event.clientX - held[0]) * 0.008;
    eye.tilt = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, eye.tilt + (event.clientY - held[1]) * 0.008));
    held = [event.clientX, event.clientY];
    ask();
  });
  for (const over of ["pointerup", "pointercancel"]) canvas.addEventListener(over, () => { held = null; });
  slider.min = String(scene.days[0]);
  slider.max = String(end);
  slider.step = "any";
  slider.value = String(end);
  slider.addEventListener("input", () => { stop(); now = Number(slider.value); ask(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { readColours(); ask(); });
  new ResizeObserver(ask).observe(canvas);
  box.classList.add("live");
  readColours();
  draw();
}
