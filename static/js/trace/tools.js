// The buttons over the picture: which mode the hand works in, and what is done to the rings.

import { CLOSE } from "./area.js";

export function modes(form, { svg, sketch }) {
  const buttons = [...form.querySelectorAll("[data-mode]")];
  const choose = (name) => {
    sketch.mode = name;
    sketch.chosen = null;
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.dataset.mode === name));
    svg.classList.toggle("editing", name === "edit");
    if (name === "edit") sketch.say("Drag a point; touch the line to add one; Delete removes the chosen one.", "");
    sketch.redraw();
  };
  for (const button of buttons) button.addEventListener("click", () => choose(button.dataset.mode));
  document.getElementById("modes").hidden = false;
  return choose;
}

export function tools(form, { sketch, stage, area, choose }) {
  const { drawing } = sketch;
  const back = (done) => {
    if (!done) return;
    sketch.chosen = null;
    sketch.changed();
  };
  const all = {
    undo: () => back(drawing.undo()),
    redo: () => back(drawing.redo()),
    close: () => sketch.close(),
    smooth() {
      if (!drawing.rings.length) return;
      area.compare();
      sketch.smooth();
    },
    // The first, rough ring shows where to look; it goes, one step back brings it back.
    closer() {
      if (!drawing.rings.length) return stage.zoom(1.5);
      stage.frame(sketch.span, CLOSE);
      if (drawing.rings.length > 1) return sketch.redraw();
      drawing.step();
      drawing.rings = [];
      sketch.chosen = null;
      choose("free");
      sketch.changed();
      sketch.say("Draw once round it again, this close.", "");
    },
    delete: () => sketch.removeRing(),
  };
  for (const button of form.querySelectorAll("[data-do]")) {
    button.addEventListener("click", () => all[button.dataset.do]());
  }
  return all;
}
