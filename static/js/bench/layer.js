// The layer of marks over the drawing: where a finger is on the foot, which lesion is chosen, which one has moved.

import { make } from "../svg.js";
import { frame } from "./frame.js";
import { LesionMark } from "./mark.js";

export class Layer {
  constructor(form) {
    this.form = form;
    this.board = form.querySelector(".drawing-board");
    this.says = document.getElementById("bench-says");
    this.svg = make("svg", { class: "handles", role: "group", "aria-label": "Ulcers on the insole" });
    this.board.append(this.svg);
    this.lesions = [...form.querySelectorAll("fieldset.lesion")].map((fieldset) => new LesionMark(fieldset));
    this.svg.append(...this.lesions.flatMap((lesion) => lesion.parts));
  }

  refresh() {
    const page = frame();
    this.svg.setAttribute("viewBox", `0 0 ${page.width} ${page.height}`);
    for (const lesion of this.lesions) lesion.draw();
  }

  pointOf(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return frame().toFoot([at.x, at.y]);
  }

  choose(lesion) {
    for (const other of this.lesions) {
      other.mark.classList.toggle("chosen", other === lesion);
      other.fieldset.classList.toggle("chosen", other === lesion);
    }
    const section = document.getElementById(`section-${lesion?.label}`);
    if (section) section.checked = true;
  }

  // A finger still drags: a quick preview without the result.
  moving() {
    this.form.dispatchEvent(new CustomEvent("bench:moving", { bubbles: true }));
  }

  // The server computes from the numbers: every move asks for a new preview.
  moved(lesion) {
    this.form.dispatchEvent(new CustomEvent("bench:moved", { bubbles: true }));
    this.says.textContent = lesion.sentence();
  }
}
