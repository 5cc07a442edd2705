// The lines, points and cross of a sketch, drawn over the picture at the screen's own thickness.

import { make, set } from "../svg.js";

export class Lines {
  constructor(svg, last) {
    this.last = last;
    const layer = make("g", {}, svg);
    this.shape = make("path", { class: "ring" }, layer);
    this.open = make("polyline", { class: "open" }, layer);
    this.dots = make("g", {}, layer);
    this.cross = make("path", { class: "cursor" }, layer);
  }

  draw(sketch, unit) {
    const { drawing, mode, stroke } = sketch;
    const closed = drawing.rings.map((ring) => `M${listed(ring).replaceAll(" ", " L")} Z`).join(" ");
    set(this.shape, { d: closed, "stroke-width": 2.5 * unit });
    set(this.open, { "stroke-width": 2.5 * unit });
    this.stroke(stroke ?? drawing.open);
    this.last?.setAttribute("stroke-width", 2 * unit);
    this.#points(pointsOf(sketch), unit);
    const arm = 12 * unit;
    const [x, y] = sketch.cursor;
    set(this.cross, {
      d: mode === "point" ? `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}` : "",
      "stroke-width": 1.5 * unit,
    });
  }

  // The line under a finger that still draws.
  stroke(points) {
    set(this.open, { points: listed(points) });
  }

  #points(marks, unit) {
    const { dots } = this;
    while (dots.children.length > marks.length) dots.lastChild.remove();
    marks.forEach(([[x, y], isChosen], i) => {
      const dot = dots.children[i] ?? make("circle", {}, dots);
      const r = (isChosen ? 8 : 4.5) * unit;
      set(dot, { cx: x, cy: y, r, "stroke-width": 1.5 * unit, class: isChosen ? "dot chosen" : "dot" });
    });
  }
}

// The points that the mode shows, each with whether it is the chosen one.
function pointsOf({ mode, drawing, chosen }) {
  if (mode === "point") return drawing.open.map((point) => [point, false]);
  if (mode !== "edit") return [];
  return drawing.rings.flatMap((ring, r) => ring.map((point, p) => [point, chosen?.ring === r && chosen?.point === p]));
}

function listed(points) {
  return points.map((p) => `${p[0].toFixed(2)},${p[1].toFixed(2)}`).join(" ");
}
