// Drawing a lesion's outline freehand, in place of its ellipse.

import { make } from "../svg.js";
import { boundsOf, frame, turned } from "./frame.js";

export class Outlines {
  constructor(layer) {
    this.layer = layer;
    this.tracing = null; // { lesion, points, line } while a finger draws
    for (const lesion of layer.lesions) this.#offer(lesion);
    layer.svg.addEventListener("pointerdown", (event) => this.#down(event));
    layer.svg.addEventListener("pointermove", (event) => this.#move(event));
    layer.svg.addEventListener("pointerup", () => this.#up());
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.tracing) this.#stop();
    });
  }

  get busy() {
    return this.tracing !== null;
  }

  #offer(lesion) {
    const draw = lesion.fieldset.querySelector(".draw-outline");
    draw.hidden = false;
    showButtons(lesion);
    draw.addEventListener("click", () => {
      const again = this.tracing?.lesion === lesion;
      this.#stop();
      if (again) return;
      draw.textContent = "Stop drawing";
      this.#begin(lesion);
    });
    lesion.fieldset.querySelector(".use-ellipse").addEventListener("click", () => {
      lesion.fields.outline.value = "";
      lesion.draw();
      showButtons(lesion);
      this.layer.moved(lesion);
    });
  }

  #begin(lesion) {
    const { layer } = this;
    this.tracing = { lesion, points: [], line: make("polyline", { class: "trace" }, layer.svg) };
    layer.svg.classList.add("drawing");
    layer.choose(lesion);
    layer.says.textContent = "Draw once round the ulcer on the insole.";
    layer.board.scrollIntoView({ block: "nearest" });
  }

  #stop() {
    this.tracing?.line.remove();
    this.tracing = null;
    this.layer.svg.classList.remove("drawing");
    for (const lesion of this.layer.lesions) lesion.fieldset.querySelector(".draw-outline").textContent = "Draw its outline";
  }

  #down(event) {
    if (!this.tracing || event.button !== 0) return;
    event.preventDefault();
    this.layer.svg.setPointerCapture(event.pointerId);
    this.tracing.points = [this.layer.pointOf(event)];
  }

  #move(event) {
    if (!this.tracing?.points.length) return;
    const { points, line } = this.tracing;
    const at = this.layer.pointOf(event);
    const last = points.at(-1);
    if (Math.hypot(at[0] - last[0], at[1] - last[1]) < 0.8) return;
    points.push(at);
    const page = frame();
    line.setAttribute("points", points.map((p) => page.toPage(p).map((v) => v.toFixed(2)).join(",")).join(" "));
  }

  #up() {
    if (!this.tracing?.points.length) return;
    const { lesion, points } = this.tracing;
    this.#stop();
    const values = valuesOf(points);
    if (!values) {
      this.layer.says.textContent = "Too short for an outline. Draw once round the ulcer.";
      return;
    }
    lesion.write(values);
    showButtons(lesion);
    this.layer.moved(lesion);
  }
}

// The fields that a drawn line fills; none where it is too short for an outline.
function valuesOf(points) {
  const box = boundsOf(points);
  const [across, along] = [box.right - box.left, box.high - box.low];
  if (points.length < 8 || across < 2 || along < 2) return null;
  const middle = [(box.left + box.right) / 2, (box.low + box.high) / 2];
  // The long side lies along +y at angle 0: a broad outline is kept lying down, turned by 90°.
  const angle = across > along ? 90 : 0;
  const local = points.map(([x, y]) => turned([x - middle[0], y - middle[1]], -angle).map((v) => Number(v.toFixed(2))));
  return {
    outline: JSON.stringify(local),
    x_mm: middle[0],
    y_mm: middle[1],
    length_mm: Math.max(across, along),
    width_mm: Math.min(across, along),
    angle_deg: angle,
  };
}

function showButtons(lesion) {
  lesion.fieldset.querySelector(".use-ellipse").hidden = !lesion.fields.outline.value;
}
