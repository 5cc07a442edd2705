// Drawing over the flattened photo. What is measured comes from the server, always; here only lines are drawn.

import { drafts } from "../drafts.js";
import { asks } from "./ask.js";
import { Rings, joined, thinned } from "./rings.js";
import { sends, teller } from "./send.js";
import { Loupe, Stage, make, set } from "./stage.js";

const form = document.getElementById("trace");
const says = document.getElementById("trace-says");
const say = teller(says);
const svg = document.getElementById("stage");
const last = document.getElementById("last");
const NAME = location.pathname + location.search;
const STROKE = 2; // screen pixels between two points of a stroke
const FINE = 0.06; // mm that thinning may leave out
const SMOOTH = 0.5; // mm that one smoothing may move a point
const CLOSE = 0.6; // share of the stage that a shape fills when looked at closely
const COARSE = 2; // per cent of the area that one screen pixel round the margin may be worth before it is said
const REACH = 22; // screen pixels round a point that take the finger

const drawing = new Rings();
const layer = make("g", {}, svg);
const shape = make("path", { class: "ring" }, layer);
const openLine = make("polyline", { class: "open" }, layer);
const dots = make("g", {}, layer);
const crossMark = make("path", { class: "cursor" }, layer);

let mode = "free";
let stroke = null;
let chosen = null; // { ring, point }
let held = null;
let measured = null;
let before = null; // area before smoothing, to tell what it changed
let store = null;

const tool = {
  down(at) {
    if (mode === "free") {
      stroke = [at];
    } else if (mode === "point") {
      cursor = at;
      const start = drawing.open[0];
      if (start && drawing.open.length > 2 && apart(start, at) < REACH * stage.unit) closeRing();
      else drawing.point(at);
      changed();
    } else {
      grab(at);
      if (!held) return false;
    }
    return true;
  },
  move(at) {
    if (stroke) {
      if (apart(at, stroke.at(-1)) < STROKE * stage.unit) return;
      stroke.push(at);
      set(openLine, { points: listed(stroke) });
    } else if (held) {
      drawing.rings[held.ring][held.point] = [at[0] + held.off[0], at[1] + held.off[1]];
      held.moved = true;
      loupe.show(drawing.rings[held.ring][held.point]);
      redraw();
    }
  },
  up() {
    if (stroke) {
      const drawn = thinned(joined(stroke), FINE);
      const long = stroke.length;
      stroke = null;
      if (long < 8 || drawn.length < 4) say("Too short. Draw once round it, back to where you began.", "bad");
      else drawing.add(drawn);
      changed();
    } else if (held) {
      if (held.moved) {
        const moved = drawing.rings[held.ring][held.point];
        drawing.rings[held.ring][held.point] = held.was;
        drawing.step();
        drawing.rings[held.ring][held.point] = moved;
      }
      held = null;
      loupe.hide();
      changed();
    }
  },
  cancel() {
    if (held) drawing.rings[held.ring][held.point] = held.was;
    stroke = held = null;
    loupe.hide();
    redraw();
  },
  redraw: () => redraw(),
};

const stage = new Stage(svg, tool);
const loupe = new Loupe(document.getElementById("loupe"), stage);
let cursor = stage.centre;

function apart(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}

function listed(points) {
  return points.map((p) => `${p[0].toFixed(2)},${p[1].toFixed(2)}`).join(" ");
}

function grab(at) {
  const near = drawing.nearest(at);
  if (near.away < REACH * stage.unit) {
    chosen = { ring: near.ring, point: near.point };
  } else {
    const edge = drawing.nearestEdge(at);
    if (edge.away >= REACH * stage.unit) {
      chosen = null;
      redraw();
      return;
    }
    // A touch on the line adds a point there, which is then dragged.
    drawing.step();
    drawing.rings[edge.ring].splice(edge.after + 1, 0, at);
    chosen = { ring: edge.ring, point: edge.after + 1 };
  }
  const was = [...drawing.rings[chosen.ring][chosen.point]];
  held = { ...chosen, was, off: [was[0] - at[0], was[1] - at[1]], moved: false };
}

function redraw() {
  const unit = stage?.unit ?? 0.1;
  const closed = drawing.rings.map((ring) => `M${listed(ring).replaceAll(" ", " L")} Z`).join(" ");
  set(shape, { d: closed, "stroke-width": 2.5 * unit });
  set(openLine, { points: listed(stroke ?? drawing.open), "stroke-width": 2.5 * unit });
  last?.setAttribute("stroke-width", 2 * unit);
  const marks = [];
  if (mode === "point") for (const point of drawing.open) marks.push([point, false]);
  if (mode === "edit") {
    drawing.rings.forEach((ring, r) => ring.forEach((point, p) => {
      marks.push([point, chosen?.ring === r && chosen?.point === p]);
    }));
  }
  while (dots.children.length > marks.length) dots.lastChild.remove();
  marks.forEach(([[x, y], isChosen], i) => {
    const dot = dots.children[i] ?? make("circle", {}, dots);
    set(dot, { cx: x, cy: y, r: (isChosen ? 8 : 4.5) * unit, "stroke-width": 1.5 * unit, class: isChosen ? "dot chosen" : "dot" });
  });
  const arm = 12 * unit;
  const [x, y] = cursor ?? [0, 0];
  set(crossMark, {
    d: mode === "point" ? `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}` : "",
    "stroke-width": 1.5 * unit,
  });
}

// --- what stands, as the server measures it ---------------------------------------------------------------------
function changed() {
  form.elements.outline.value = drawing.rings.length
    ? JSON.stringify(drawing.parts.map((part) => part.map((ring) => ring.map((p) => p.map((v) => Number(v.toFixed(2)))))))
    : "";
  redraw();
  store?.keep(NAME, { drawing: drawing.state, key: form.elements.submission_key.value });
  area.hold();
  if (!drawing.rings.length) {
    measured = null;
    return;
  }
  area.soon();
}

const area = asks(form, {
  after: 120,
  tell,
  lost: () => say("No answer from the clinic's server: the outline stays here, its area comes when the network is back.", "bad"),
});

function tell(told) {
  if (told.refused !== undefined) {
    measured = null;
    say(told.refused || "Nothing drawn yet.", "bad");
    return;
  }
  measured = told;
  let words = `${(told.area_mm2 / 100).toFixed(2)} cm², ${told.length_mm.toFixed(1)} × ${told.width_mm.toFixed(1)} mm, margin ${told.perimeter_mm.toFixed(0)} mm. Scale ± ${Number(form.dataset.error).toFixed(1)} %.`;
  if (before) {
    const by = (100 * (told.area_mm2 - before)) / before;
    words += ` Smoothing changed the area by ${by < 0 ? "−" : "+"}${Math.abs(by).toFixed(1)} %, no point by more than ${SMOOTH} mm.`;
    before = null;
  }
  // A hand wanders by pixels of the screen: the nearer the picture, the less of the wound that is.
  const pixel = (100 * told.perimeter_mm * stage.unit) / told.area_mm2;
  const nearer = Math.max(span()[2] - span()[0], span()[3] - span()[1]) / (CLOSE * Math.min(stage.view.width, stage.view.height));
  if (pixel > COARSE && nearer < 0.7) {
    words += ` One pixel of this screen all round is ${pixel.toFixed(1)} % of it; drawn closer, ${(pixel * nearer).toFixed(1)} %.`;
  }
  say(words, "good");
}

// Left, top, right, bottom of all that is drawn.
function span() {
  const all = drawing.rings.flat();
  const [xs, ys] = [0, 1].map((k) => all.map((point) => point[k]));
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

// --- the tools ----------------------------------------------------------------------------------------------------
function closeRing() {
  if (!drawing.close()) say("A ring needs at least 3 points.", "bad");
  changed();
}

const tools = {
  undo: () => drawing.undo() && (chosen = null, changed()),
  redo: () => drawing.redo() && (chosen = null, changed()),
  close: closeRing,
  smooth() {
    if (!drawing.rings.length) return;
    before = measured?.area_mm2 ?? null;
    const which = chosen ? [chosen.ring] : drawing.rings.map((_, i) => i);
    drawing.step();
    const state = drawing.past.length;
    for (const ring of which) drawing.smooth(ring, SMOOTH);
    drawing.past.length = state; // one step back undoes the whole smoothing
    changed();
  },
  // The first, rough ring shows where to look; it goes, one step back brings it back.
  closer() {
    if (!drawing.rings.length) return stage.zoom(1.5);
    stage.frame(span(), CLOSE);
    if (drawing.rings.length > 1) return redraw();
    drawing.step();
    drawing.rings = [];
    chosen = null;
    setMode("free");
    changed();
    say("Draw once round it again, this close.", "");
  },
  delete() {
    if (!drawing.rings.length && !drawing.open.length) return;
    drawing.step();
    if (drawing.open.length) drawing.open = [];
    else drawing.rings.splice(chosen ? chosen.ring : drawing.rings.length - 1, 1);
    chosen = null;
    changed();
  },
};

for (const button of form.querySelectorAll("[data-do]")) {
  button.addEventListener("click", () => tools[button.dataset.do]());
}
document.getElementById("modes").hidden = false;
for (const button of form.querySelectorAll("[data-mode]")) {
  button.addEventListener("click", () => setMode(button.dataset.mode));
}

function setMode(name) {
  mode = name;
  chosen = null;
  for (const button of form.querySelectorAll("[data-mode]")) {
    button.setAttribute("aria-pressed", String(button.dataset.mode === name));
  }
  svg.classList.toggle("editing", mode === "edit");
  if (mode === "edit") say("Drag a point; touch the line to add one; Delete removes the chosen one.", "");
  redraw();
}

document.getElementById("show-last")?.addEventListener("change", (event) => {
  // Whoever has seen last week's outline does not draw without knowing it: such a trace is no repeat.
  form.elements.blind.value = event.target.checked ? "" : form.elements.blind.value;
  const [x, y] = measured ? centreOf(drawing.rings[0]) : stage.centre;
  last.setAttribute("transform", `translate(${x} ${y})`);
  last.setAttribute("visibility", event.target.checked ? "visible" : "hidden");
});
document.getElementById("contrast").addEventListener("change", (event) => {
  svg.classList.toggle("contrast", event.target.checked);
});

function centreOf(ring) {
  const n = ring.length;
  return [0, 1].map((k) => ring.reduce((sum, p) => sum + p[k], 0) / n);
}

// --- keys -----------------------------------------------------------------------------------------------------------
svg.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey) {
    const name = { z: event.shiftKey ? "redo" : "undo", y: "redo" }[event.key.toLowerCase()];
    if (name) {
      event.preventDefault();
      tools[name]();
    }
    return;
  }
  if (event.altKey) return;
  const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (by) {
    event.preventDefault();
    nudge(by, event.shiftKey ? 5 : 0.5);
    return;
  }
  const action = {
    "+": () => stage.zoom(1.5, chosen ? drawing.rings[chosen.ring][chosen.point] : cursor),
    "-": () => stage.zoom(1 / 1.5),
    Enter: () => setPoint(),
    c: closeRing,
    C: closeRing,
    Delete: removePoint,
    Backspace: removePoint,
    PageDown: () => step(1),
    PageUp: () => step(-1),
  }[event.key];
  if (action) {
    event.preventDefault();
    action();
  }
});

function nudge(by, length) {
  if (mode === "edit" && chosen) {
    drawing.step();
    const point = drawing.rings[chosen.ring][chosen.point];
    drawing.rings[chosen.ring][chosen.point] = [point[0] + by[0] * length, point[1] + by[1] * length];
    stage.follow(drawing.rings[chosen.ring][chosen.point]);
    changed();
    return;
  }
  if (mode !== "point") setMode("point");
  cursor = [cursor[0] + by[0] * length, cursor[1] + by[1] * length];
  stage.follow(cursor);
  redraw();
}

function setPoint() {
  if (mode !== "point") setMode("point");
  drawing.point([...cursor]);
  changed();
}

function removePoint() {
  if (mode === "edit" && chosen) {
    const ring = drawing.rings[chosen.ring];
    if (ring.length <= 3) return say("A ring needs at least 3 points; remove the ring instead.", "bad");
    drawing.step();
    ring.splice(chosen.point, 1);
    chosen.point %= ring.length;
    return changed();
  }
  if (drawing.open.length) {
    drawing.step();
    drawing.open.pop();
    changed();
  }
}

function step(by) {
  if (!drawing.rings.length) return;
  if (mode !== "edit") setMode("edit");
  const at = chosen ?? { ring: 0, point: -by };
  const ring = drawing.rings[at.ring];
  chosen = { ring: at.ring, point: (at.point + by + ring.length) % ring.length };
  stage.follow(ring[chosen.point]);
  redraw();
}

// --- sending: a lost network leaves the page and the outline as they are ----------------------------------------------
sends(form, {
  says,
  what: "The outline",
  ready: () => {
    if (drawing.open.length > 2) closeRing();
    area.stop();
  },
  arrived: () => store?.drop(NAME),
});
window.addEventListener("online", () => {
  if (form.dataset.unsent !== "yes" && drawing.rings.length) area.now();
});

redraw();
store = await drafts;
const kept = await store?.kept(NAME);
if (kept && !drawing.rings.length) {
  drawing.state = kept.value.drawing;
  form.elements.submission_key.value = kept.value.key;
  changed();
}
