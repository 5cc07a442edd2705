// Draggable marks on a picture. The numbers in the form are the only state; the marks write them.

import { make, set } from "../svg.js";
import { Loupe, Stage } from "./stage.js";

const TOUCH = 24; // screen pixels round a mark that take the finger
const DOT = 7;

export class Handles {
  constructor({ svg, loupe, field, names, changed, closed }) {
    this.names = names;
    this.field = field;
    this.changed = changed;
    this.layer = make("g", {}, svg);
    this.line = make(closed ? "polygon" : "polyline", { class: "marks-line" }, this.layer);
    this.stage = new Stage(svg, this);
    this.loupe = new Loupe(loupe, this.stage);
    this.marks = [];
    this.points = this.#read();
    field.addEventListener("change", () => {
      this.points = this.#read();
      this.redraw();
      this.changed(true);
    });
    // A draft that came back has filled the field.
    field.form.addEventListener("draft:back", () => {
      this.points = this.#read();
      this.redraw();
      this.changed(true);
    });
    this.redraw();
  }

  #read() {
    return this.field.value
      .split(/[\n;]/)
      .map((line) => line.split(/[,\s]+/).filter(Boolean).map(Number))
      .filter((pair) => pair.length === 2 && pair.every(Number.isFinite));
  }

  set(points, write = true) {
    this.points = points.map((point) => [...point]);
    if (write) this.#write();
    this.redraw();
  }

  rename(names) {
    this.names = names;
    this.marks.forEach((mark, index) => {
      mark.querySelector("text").textContent = names[index]?.short ?? String(index + 1);
    });
    this.redraw();
  }

  #write() {
    this.field.value = this.points.map(([x, y]) => `${x.toFixed(1)}, ${y.toFixed(1)}`).join("\n");
  }

  // Moved by a person: kept on the device like anything typed.
  #moved() {
    this.#write();
    this.field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  #mark(index) {
    const group = make("g", { class: "mark", tabindex: "0", role: "button" }, this.layer);
    make("circle", { class: "mark-hit" }, group);
    make("circle", { class: "mark-ring" }, group);
    make("path", { class: "mark-cross" }, group);
    make("text", { class: "mark-name" }, group).textContent = this.names[index]?.short ?? String(index + 1);
    group.addEventListener("keydown", (event) => this.#key(event, index));
    group.addEventListener("focus", () => this.loupe.show(this.points[index]));
    group.addEventListener("blur", () => this.loupe.hide());
    return group;
  }

  #key(event, index) {
    const step = (event.shiftKey ? 10 : 1) * Math.max(this.stage.unit * 0.5, 0.1);
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!by || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    this.points[index][0] += by[0] * step;
    this.points[index][1] += by[1] * step;
    this.#moved();
    this.stage.follow(this.points[index]);
    this.redraw();
    this.loupe.show(this.points[index]);
    this.changed(true);
  }

  down(at) {
    const reach = TOUCH * this.stage.unit;
    let best = -1;
    let least = reach;
    this.points.forEach((point, index) => {
      const away = Math.hypot(point[0] - at[0], point[1] - at[1]);
      if (away < least) [best, least] = [index, away];
    });
    if (best < 0) return false;
    this.held = { index: best, off: [this.points[best][0] - at[0], this.points[best][1] - at[1]] };
    this.marks[best].focus({ preventScroll: true });
    return true;
  }

  move(at) {
    if (!this.held) return;
    const { index, off } = this.held;
    this.points[index] = [at[0] + off[0], at[1] + off[1]];
    this.redraw();
    this.loupe.show(this.points[index]);
    this.changed(false);
  }

  up() {
    if (!this.held) return;
    this.held = null;
    this.#moved();
    this.changed(true);
  }

  cancel() {
    if (!this.held) return;
    this.held = null;
    this.points = this.#read();
    this.redraw();
  }

  redraw() {
    if (!this.stage) return;
    while (this.marks.length < this.points.length) this.marks.push(this.#mark(this.marks.length));
    while (this.marks.length > this.points.length) this.marks.pop().remove();
    const unit = this.stage.unit;
    set(this.line, { points: this.points.map((p) => p.join(",")).join(" "), "stroke-width": 2 * unit });
    this.points.forEach(([x, y], index) => {
      const [hit, ring, cross, name] = this.marks[index].children;
      set(hit, { cx: x, cy: y, r: TOUCH * unit });
      set(ring, { cx: x, cy: y, r: DOT * 2 * unit, "stroke-width": 2.5 * unit });
      const arm = DOT * unit;
      set(cross, { d: `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`, "stroke-width": 1.5 * unit });
      set(name, { x: x + 18 * unit, y: y - 14 * unit, "font-size": 15 * unit });
      const label = this.names[index]?.long ?? `Mark ${index + 1}`;
      this.marks[index].setAttribute("aria-label", `${label}: ${x.toFixed(0)}, ${y.toFixed(0)}. Arrow keys move it.`);
    });
  }
}
