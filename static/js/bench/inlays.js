// Drawing an inlay: one press on the insole for each corner. The typed points are the only state.

import { make } from "../svg.js";
import { frame } from "./frame.js";

const NEAR = 4; // mm: a press as near to the first corner closes the ring

export class Inlays {
  constructor(layer) {
    this.layer = layer;
    this.drawing = null; // { row, points, line, button } while corners are set
    for (const row of layer.form.querySelectorAll("fieldset.inlay")) this.#offer(row);
    // Before the marks of the ulcers see it: a corner may lie on an ulcer.
    layer.svg.addEventListener("pointerdown", (event) => this.#press(event), { capture: true });
    document.addEventListener("keydown", (event) => {
      if (!this.drawing) return;
      if (event.key === "Escape") this.#stop();
      if (event.key === "Enter" && layer.board.contains(event.target)) this.#close();
    });
  }

  get busy() {
    return this.drawing !== null;
  }

  #offer(row) {
    const button = row.querySelector(".draw-inlay");
    button.hidden = false;
    button.addEventListener("click", () => {
      const open = this.drawing;
      if (open?.row === row && open.points.length > 2) return this.#close();
      this.#stop();
      if (open?.row !== row) this.#begin(row, button);
    });
  }

  #field(row, name) {
    return row.closest("form").elements[`${row.dataset.inlay}-${name}`];
  }

  #begin(row, button) {
    const { layer } = this;
    this.drawing = { row, button, points: [], line: make("polyline", { class: "trace" }, layer.svg) };
    button.textContent = "Close the inlay";
    layer.svg.classList.add("drawing");
    layer.says.textContent = "Press on the insole for each corner; press the first corner again to close the inlay.";
    layer.board.scrollIntoView({ block: "nearest" });
  }

  #stop() {
    if (!this.drawing) return;
    this.drawing.line.remove();
    this.drawing.button.textContent = "Draw it on the insole";
    this.drawing = null;
    this.layer.svg.classList.remove("drawing");
  }

  #press(event) {
    if (!this.drawing || event.button !== 0) return;
    event.preventDefault();
    event.stopPropagation();
    const { points, line } = this.drawing;
    const at = this.layer.pointOf(event);
    if (points.length > 2 && Math.hypot(at[0] - points[0][0], at[1] - points[0][1]) <= NEAR) {
      this.#close();
      return;
    }
    points.push(at);
    const page = frame();
    line.setAttribute("points", points.map((p) => page.toPage(p).map((v) => v.toFixed(2)).join(",")).join(" "));
    this.layer.says.textContent = `${points.length} corner${points.length > 1 ? "s" : ""} set.`;
  }

  #close() {
    const { row, points } = this.drawing;
    this.#stop();
    if (points.length < 3) {
      this.layer.says.textContent = "An inlay needs three corners or more.";
      return;
    }
    this.#field(row, "points").value = points.map((p) => p.map((v) => v.toFixed(1)).join(", ")).join("; ");
    this.#field(row, "around").value = "points";
    this.layer.says.textContent = `Inlay drawn with ${points.length} corners.`;
    this.layer.form.dispatchEvent(new CustomEvent("bench:moved", { bubbles: true }));
  }
}
