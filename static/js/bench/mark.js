// One lesion: its fields, and its mark with two grips on the drawing.

import { make, set } from "../svg.js";
import { boundsOf, frame, turned } from "./frame.js";

export const GRIP_OUT = 9; // mm from the lesion's edge to its grips
const HIT = 11; // mm: a finger's width at the drawing's usual scale

export class LesionMark {
  constructor(fieldset) {
    this.fieldset = fieldset;
    this.label = fieldset.dataset.label;
    const prefix = fieldset.dataset.lesion;
    const field = (name) => fieldset.form.elements[`${prefix}-${name}`];
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
    return `Ulcer ${this.label}: ${across}, ${y} mm from the heel.`;
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
