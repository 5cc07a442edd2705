// A picture in an SVG that zooms and pans under fingers, wheel and keys. One finger belongs to the tool on it.

import { make, set } from "../svg.js";

export class Stage {
  // `tool`: down(point, event) -> whether it takes the finger; move(point); up(); cancel(); redraw().
  constructor(svg, tool) {
    this.svg = svg;
    this.tool = tool;
    const { x, y, width, height } = svg.viewBox.baseVal;
    this.whole = { x, y, width, height };
    this.view = { ...this.whole };
    this.fingers = new Map();
    svg.addEventListener("pointerdown", (event) => this.#down(event));
    svg.addEventListener("pointermove", (event) => this.#move(event));
    for (const name of ["pointerup", "pointercancel"]) svg.addEventListener(name, (event) => this.#up(event));
    svg.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, this.point(event));
    }, { passive: false });
    for (const button of document.querySelectorAll("[data-zoom]")) {
      button.addEventListener("click", () => {
        if (button.dataset.zoom === "all") this.fit();
        else this.zoom(button.dataset.zoom === "in" ? 1.5 : 1 / 1.5);
      });
    }
    new ResizeObserver(() => this.tool.redraw()).observe(svg);
  }

  // Units of the picture (mm or px) in one pixel of the screen.
  get unit() {
    const box = this.svg.getBoundingClientRect();
    return Math.max(this.view.width / box.width, this.view.height / box.height);
  }

  get centre() {
    return [this.view.x + this.view.width / 2, this.view.y + this.view.height / 2];
  }

  point(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [at.x, at.y];
  }

  fit() {
    this.view = { ...this.whole };
    this.#show();
  }

  // A box of the picture in the middle, filling this share of the stage.
  frame([left, top, right, bottom], share) {
    const { width, height } = this.view;
    const factor = Math.min((share * width) / Math.max(right - left, 1e-6), (share * height) / Math.max(bottom - top, 1e-6));
    this.zoom(factor);
    const [x, y] = this.centre;
    this.pan((left + right) / 2 - x, (top + bottom) / 2 - y);
  }

  zoom(factor, at = this.centre) {
    const width = Math.min(this.whole.width, Math.max(this.whole.width / 40, this.view.width / factor));
    const real = this.view.width / width;
    this.view = {
      x: at[0] - (at[0] - this.view.x) / real,
      y: at[1] - (at[1] - this.view.y) / real,
      width,
      height: this.view.height / real,
    };
    this.#show();
  }

  pan(dx, dy) {
    this.view.x += dx;
    this.view.y += dy;
    this.#show();
  }

  // Keep a point in sight, as the keys move it.
  follow([x, y]) {
    const edge = 0.1;
    const { width, height } = this.view;
    const dx = Math.min(0, x - this.view.x - edge * width) + Math.max(0, x - this.view.x - (1 - edge) * width);
    const dy = Math.min(0, y - this.view.y - edge * height) + Math.max(0, y - this.view.y - (1 - edge) * height);
    if (dx || dy) this.pan(dx, dy);
  }

  #show() {
    const { whole, view } = this;
    view.x = Math.min(Math.max(view.x, whole.x), whole.x + whole.width - view.width);
    view.y = Math.min(Math.max(view.y, whole.y), whole.y + whole.height - view.height);
    this.svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.width} ${view.height}`);
    this.tool.redraw();
  }

  #down(event) {
    if (event.button !== 0) return;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    this.svg.setPointerCapture(event.pointerId);
    if (this.fingers.size === 2) {
      // The second finger turns a stroke into a pinch.
      this.tool.cancel();
      this.pinch = this.#span();
      return;
    }
    if (this.fingers.size === 1) {
      event.preventDefault();
      this.svg.focus?.({ preventScroll: true });
      this.held = this.tool.down(this.point(event), event) ? "tool" : "pan";
    }
  }

  #move(event) {
    if (!this.fingers.has(event.pointerId)) return;
    const before = this.fingers.get(event.pointerId);
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.fingers.size >= 2) {
      const now = this.#span();
      const unit = this.unit;
      this.pan((this.pinch.middle[0] - now.middle[0]) * unit, (this.pinch.middle[1] - now.middle[1]) * unit);
      this.zoom(now.apart / this.pinch.apart, this.point({ clientX: now.middle[0], clientY: now.middle[1] }));
      this.pinch = now;
    } else if (this.held === "tool") {
      const all = event.getCoalescedEvents?.() ?? [];
      for (const one of all.length ? all : [event]) this.tool.move(this.point(one));
    } else if (this.held === "pan") {
      const unit = this.unit;
      this.pan((before[0] - event.clientX) * unit, (before[1] - event.clientY) * unit);
    }
  }

  #up(event) {
    if (!this.fingers.delete(event.pointerId)) return;
    if (this.held === "tool" && this.fingers.size === 0 && !this.pinch) {
      if (event.type === "pointercancel") this.tool.cancel();
      else this.tool.up();
    }
    if (this.fingers.size === 0) this.held = this.pinch = null;
  }

  #span() {
    const [a, b] = [...this.fingers.values()];
    return {
      middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2],
      apart: Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1])),
    };
  }
}

// A round magnifier in a corner that the finger does not cover.
export class Loupe {
  constructor(box, stage) {
    this.box = box;
    this.stage = stage;
    this.svg = make("svg", { "aria-hidden": "true" });
    const picture = stage.svg.querySelector("image").cloneNode();
    this.svg.append(picture);
    this.across = make("path", { class: "cross" }, this.svg);
    box.append(this.svg);
  }

  show([x, y]) {
    const span = 56 * this.stage.unit; // twice as large as on the stage
    const left = x < this.stage.centre[0];
    this.box.classList.toggle("right", left);
    this.svg.setAttribute("viewBox", `${x - span / 2} ${y - span / 2} ${span} ${span}`);
    set(this.across, {
      d: `M${x - span} ${y}H${x + span}M${x} ${y - span}V${y + span}`,
      "stroke-width": span / 80,
    });
    this.box.hidden = false;
  }

  hide() {
    this.box.hidden = true;
  }
}
