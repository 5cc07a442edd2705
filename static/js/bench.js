// Moving, resizing and drawing lesions on the insole. The typed numbers are the only state: a drag writes them and
// the server computes from them, so the page works the same without this file.

const form = document.getElementById("bench");
const board = form.querySelector(".drawing-board");
const says = document.getElementById("bench-says");
const SVG = "http://www.w3.org/2000/svg";
const GRIP_OUT = 9; // mm from the lesion's edge to its grips
const HIT = 11; // mm: a finger's width at the drawing's usual scale
const LEAST = 1; // mm, the smallest length or width

// --- from the drawing to the foot and back ---------------------------------------------------------------------
// The core keeps x lateral for both feet; the drawing shows the left foot mirrored.
function frame() {
  const data = document.getElementById("insole-drawing").dataset;
  const sign = data.side === "left" ? -1 : 1;
  const [left, bottom, width, height] = ["left", "bottom", "width", "height"].map((name) => Number(data[name]));
  return {
    sign,
    width,
    height,
    toPage: ([x, y]) => [sign * x - left, height - (y - bottom)],
    toFoot: ([u, v]) => [sign * (u + left), bottom + height - v],
  };
}

function turned([u, v], degrees) {
  const angle = (degrees * Math.PI) / 180;
  return [u * Math.cos(angle) - v * Math.sin(angle), u * Math.sin(angle) + v * Math.cos(angle)];
}

// --- one lesion: its fields, its mark on the drawing -----------------------------------------------------------
class LesionMark {
  constructor(fieldset) {
    this.fieldset = fieldset;
    this.label = fieldset.dataset.label;
    const prefix = fieldset.dataset.lesion;
    const field = (name) => form.elements[`${prefix}-${name}`];
    this.fields = Object.fromEntries(
      ["include", "x_mm", "y_mm", "length_mm", "width_mm", "angle_deg", "how", "outline"].map((n) => [n, field(n)]),
    );
    this.mark = make("g", { class: "lesion-mark", tabindex: "0", role: "button" });
    this.hit = make("circle", { class: "hit" }, this.mark);
    this.ring = make("polygon", { class: "ring" }, this.mark);
    this.stems = [make("line", { class: "stem" }), make("line", { class: "stem" })];
    this.lengthGrip = make("g", { class: "grip" });
    make("circle", { class: "grip-hit", r: HIT / 2 }, this.lengthGrip);
    make("circle", { r: 2.2 }, this.lengthGrip);
    this.widthGrip = make("g", { class: "grip" });
    make("circle", { class: "grip-hit", r: HIT / 2 }, this.widthGrip);
    make("rect", { x: -2, y: -2, width: 4, height: 4 }, this.widthGrip);
    this.parts = [...this.stems, this.lengthGrip, this.widthGrip, this.mark];
  }

  number(name) {
    return Number.parseFloat(this.fields[name].value.replace(",", "."));
  }

  get centre() {
    return [this.number("x_mm"), this.number("y_mm")];
  }

  get usable() {
    const numbers = ["x_mm", "y_mm", "length_mm", "width_mm", "angle_deg"].map((name) => this.number(name));
    return this.fields.include.checked && numbers.every(Number.isFinite);
  }

  // Points about the centre, long side along +y, one mm to the mm, before turning.
  local() {
    const length = this.number("length_mm");
    const width = this.number("width_mm");
    const text = this.fields.outline.value;
    if (text) {
      const drawn = JSON.parse(text);
      const box = boundsOf(drawn);
      return drawn.map(([u, v]) => [
        ((u - (box.left + box.right) / 2) * width) / (box.right - box.left),
        ((v - (box.low + box.high) / 2) * length) / (box.high - box.low),
      ]);
    }
    return Array.from({ length: 60 }, (_, i) => {
      const t = (2 * Math.PI * i) / 60;
      return [(width / 2) * Math.cos(t), (length / 2) * Math.sin(t)];
    });
  }

  toFoot(point) {
    const [dx, dy] = turned(point, this.number("angle_deg"));
    const [x, y] = this.centre;
    return [x + dx, y + dy];
  }

  draw() {
    const hidden = !this.usable;
    for (const part of this.parts) part.setAttribute("visibility", hidden ? "hidden" : "visible");
    this.mark.setAttribute("tabindex", hidden ? "-1" : "0");
    if (hidden) return;
    const page = frame();
    const at = page.toPage(this.centre);
    set(this.hit, { cx: at[0], cy: at[1], r: HIT / 2 });
    set(this.ring, {
      points: this.local()
        .map((point) => page.toPage(this.toFoot(point)).map((v) => v.toFixed(2)).join(","))
        .join(" "),
    });
    const [length, width] = [this.number("length_mm"), this.number("width_mm")];
    const tip = page.toPage(this.toFoot([0, length / 2 + GRIP_OUT]));
    const flank = page.toPage(this.toFoot([width / 2 + GRIP_OUT, 0]));
    this.lengthGrip.setAttribute("transform", `translate(${tip[0]} ${tip[1]})`);
    this.widthGrip.setAttribute("transform", `translate(${flank[0]} ${flank[1]})`);
    const ends = [page.toPage(this.toFoot([0, length / 2])), page.toPage(this.toFoot([width / 2, 0]))];
    [tip, flank].forEach((far, i) => {
      set(this.stems[i], { x1: ends[i][0], y1: ends[i][1], x2: far[0], y2: far[1] });
    });
    this.mark.setAttribute("aria-label", `${this.sentence()} Arrow keys move it.`);
  }

  sentence() {
    const [x, y] = this.centre;
    const across = x === 0 ? "on the long axis" : `${Math.abs(x)} mm to the ${x > 0 ? "little" : "big"} toe side`;
    return `Lesion ${this.label}: ${across}, ${y} mm from the heel.`;
  }

  write(values) {
    for (const [name, value] of Object.entries(values)) {
      this.fields[name].value = typeof value === "number" ? String(Math.round(value * 10) / 10) : value;
    }
    if (this.fields.how.value === "typed") this.fields.how.value = "placed";
    this.draw();
  }

  moveTo([x, y]) {
    this.write({ x_mm: x, y_mm: y });
  }
}

function make(name, attributes = {}, parent = null) {
  const node = document.createElementNS(SVG, name);
  set(node, attributes);
  parent?.append(node);
  return node;
}

function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
}

function boundsOf(points) {
  const us = points.map((p) => p[0]);
  const vs = points.map((p) => p[1]);
  return { left: Math.min(...us), right: Math.max(...us), low: Math.min(...vs), high: Math.max(...vs) };
}

// --- the layer of marks over the drawing -----------------------------------------------------------------------
const handles = make("svg", { class: "handles", role: "group", "aria-label": "Lesions on the insole" });
board.append(handles);
const lesions = [...form.querySelectorAll("fieldset.lesion")].map((fieldset) => new LesionMark(fieldset));
handles.append(...lesions.flatMap((lesion) => lesion.parts));
document.getElementById("bench-help").hidden = false;

function refresh() {
  const page = frame();
  handles.setAttribute("viewBox", `0 0 ${page.width} ${page.height}`);
  for (const lesion of lesions) lesion.draw();
}

function pointOf(event) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(handles.getScreenCTM().inverse());
  return frame().toFoot([at.x, at.y]);
}

function choose(lesion) {
  for (const other of lesions) {
    other.mark.classList.toggle("chosen", other === lesion);
    other.fieldset.classList.toggle("chosen", other === lesion);
  }
}

// The server computes from the numbers: every move asks for a new preview.
function moved(lesion) {
  form.dispatchEvent(new CustomEvent("bench:moved", { bubbles: true }));
  says.textContent = lesion.sentence();
}

function drag(target, lesion, follow) {
  target.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || tracing) return;
    event.preventDefault();
    choose(lesion);
    lesion.mark.focus({ preventScroll: true });
    const from = pointOf(event);
    const start = { centre: lesion.centre, changed: false };
    target.setPointerCapture(event.pointerId);
    const move = (next) => {
      board.classList.add("moving");
      start.changed = true;
      follow(pointOf(next), from, start);
      form.dispatchEvent(new CustomEvent("bench:moving", { bubbles: true }));
    };
    const end = () => {
      target.removeEventListener("pointermove", move);
      board.classList.remove("moving");
      if (start.changed) moved(lesion);
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", end, { once: true });
    target.addEventListener("pointercancel", end, { once: true });
  });
}

for (const lesion of lesions) {
  drag(lesion.mark, lesion, (at, from, start) => {
    lesion.moveTo([start.centre[0] + at[0] - from[0], start.centre[1] + at[1] - from[1]]);
  });
  drag(lesion.lengthGrip, lesion, (at) => {
    const [x, y] = lesion.centre;
    const reach = Math.hypot(at[0] - x, at[1] - y);
    const least = lesion.fields.outline.value ? LEAST : lesion.number("width_mm");
    // Counter-clockwise from +y, in the foot's own frame: the mirror of the left foot is undone by toFoot.
    const angle = (Math.atan2(at[1] - y, at[0] - x) * 180) / Math.PI - 90;
    lesion.write({
      length_mm: Math.max(least, LEAST, 2 * (reach - GRIP_OUT)),
      angle_deg: Math.round(angle < -180 ? angle + 360 : angle),
    });
  });
  drag(lesion.widthGrip, lesion, (at) => {
    const [x, y] = lesion.centre;
    const [u] = turned([at[0] - x, at[1] - y], -lesion.number("angle_deg"));
    lesion.write({ width_mm: Math.min(lesion.number("length_mm"), Math.max(LEAST, 2 * (u - GRIP_OUT))) });
  });
  lesion.mark.addEventListener("focus", () => choose(lesion));
  lesion.mark.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 5 : 1;
    const { sign } = frame();
    // Right on the screen is lateral on a right foot and medial on a left one.
    const by = {
      ArrowLeft: [-sign * step, 0],
      ArrowRight: [sign * step, 0],
      ArrowUp: [0, step],
      ArrowDown: [0, -step],
    }[event.key];
    if (!by || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    const [x, y] = lesion.centre;
    lesion.moveTo([x + by[0], y + by[1]]);
    moved(lesion);
  });
}

// --- drawing an outline freehand -------------------------------------------------------------------------------
let tracing = null; // { lesion, points, line } while a finger draws

function stopTracing() {
  tracing?.line.remove();
  tracing = null;
  handles.classList.remove("drawing");
  for (const lesion of lesions) lesion.fieldset.querySelector(".draw-outline").textContent = "Draw its outline";
}

function finish({ lesion, points }) {
  const box = boundsOf(points);
  const [across, along] = [box.right - box.left, box.high - box.low];
  if (points.length < 8 || across < 2 || along < 2) {
    says.textContent = "Too short for an outline. Draw once round the lesion.";
    return;
  }
  const middle = [(box.left + box.right) / 2, (box.low + box.high) / 2];
  // The long side lies along +y at angle 0: a broad outline is kept lying down, turned by 90°.
  const angle = across > along ? 90 : 0;
  const local = points.map(([x, y]) => turned([x - middle[0], y - middle[1]], -angle).map((v) => Number(v.toFixed(2))));
  lesion.write({
    outline: JSON.stringify(local),
    x_mm: middle[0],
    y_mm: middle[1],
    length_mm: Math.max(across, along),
    width_mm: Math.min(across, along),
    angle_deg: angle,
  });
  showOutlineButtons(lesion);
  moved(lesion);
}

function showOutlineButtons(lesion) {
  lesion.fieldset.querySelector(".use-ellipse").hidden = !lesion.fields.outline.value;
}

for (const lesion of lesions) {
  const draw = lesion.fieldset.querySelector(".draw-outline");
  draw.hidden = false;
  showOutlineButtons(lesion);
  draw.addEventListener("click", () => {
    const again = tracing?.lesion === lesion;
    stopTracing();
    if (again) return;
    tracing = { lesion, points: [], line: make("polyline", { class: "trace" }, handles) };
    handles.classList.add("drawing");
    choose(lesion);
    draw.textContent = "Stop drawing";
    says.textContent = "Draw once round the lesion on the insole.";
    board.scrollIntoView({ block: "nearest" });
  });
  lesion.fieldset.querySelector(".use-ellipse").addEventListener("click", () => {
    lesion.fields.outline.value = "";
    lesion.draw();
    showOutlineButtons(lesion);
    moved(lesion);
  });
}

handles.addEventListener("pointerdown", (event) => {
  if (!tracing || event.button !== 0) return;
  event.preventDefault();
  handles.setPointerCapture(event.pointerId);
  tracing.points = [pointOf(event)];
});
handles.addEventListener("pointermove", (event) => {
  if (!tracing?.points.length) return;
  const at = pointOf(event);
  const last = tracing.points.at(-1);
  if (Math.hypot(at[0] - last[0], at[1] - last[1]) < 0.8) return;
  tracing.points.push(at);
  const page = frame();
  tracing.line.setAttribute("points", tracing.points.map((p) => page.toPage(p).map((v) => v.toFixed(2)).join(",")).join(" "));
});
handles.addEventListener("pointerup", () => {
  if (!tracing?.points.length) return;
  const done = tracing;
  stopTracing();
  finish(done);
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && tracing) stopTracing();
});

// --- typed numbers and new previews ----------------------------------------------------------------------------
form.addEventListener("input", (event) => {
  const lesion = lesions.find((one) => one.fieldset.contains(event.target));
  if (!lesion) return;
  const typedPlace = ["x_mm", "y_mm", "length_mm", "width_mm", "angle_deg"].some((n) => event.target === lesion.fields[n]);
  if (typedPlace && lesion.fields.how.value === "placed") lesion.fields.how.value = "typed";
  lesion.draw();
});
// Until the answer is there, what stands beside the drawing is from before, and says so.
const column = form.querySelector(".result-column");
const late = document.getElementById("bench-late");
form.addEventListener("input", () => column.classList.add("waiting"));
form.addEventListener("bench:moving", () => column.classList.add("waiting"));
form.addEventListener("bench:moved", () => column.classList.add("waiting"));
column.addEventListener("htmx:afterRequest", (event) => {
  const answered = event.detail.successful || event.detail.xhr?.status === 422;
  if (answered) column.classList.remove("waiting");
  late.hidden = answered || event.detail.xhr?.status === 0 && event.detail.xhr?.readyState === 0;
});
document.body.addEventListener("htmx:sendError", () => {
  late.hidden = false;
});
document.body.addEventListener("htmx:afterSettle", refresh);
refresh();
