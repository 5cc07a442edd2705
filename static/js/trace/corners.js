// Marking the reference in a photo: four corners, or two ends on a ruler. The server says what they are worth.

import { make, set } from "../svg.js";
import { asks } from "./ask.js";
import { Handles } from "./handles.js";
import { sends, teller } from "./send.js";

const form = document.getElementById("scale");
const says = document.getElementById("scale-says");
const say = teller(says);
const svg = document.getElementById("stage");
const [width, height] = [Number(form.dataset.width), Number(form.dataset.height)];
const found = make("polygon", { class: "found" }, svg);
const CORNER = ["first", "second", "third", "fourth"];

const handles = new Handles({
  svg,
  loupe: document.getElementById("loupe"),
  field: form.elements.marks,
  names: CORNER.map((word, i) => ({ short: String(i + 1), long: `The ${word} mark` })),
  closed: true,
  changed: (done) => {
    set(found, { points: "" });
    if (done) marks.soon();
  },
});

const isRuler = () => form.elements.reference.value === "ruler";
const marks = asks(form, {
  after: 150,
  tell,
  lost: () => say("No answer from the clinic's server; the marks stay here.", "bad"),
});

function tell(told) {
  if (told.refused) {
    set(found, { points: "" });
    say(told.refused, "bad");
    return;
  }
  set(found, {
    points: isRuler() ? "" : told.marks.map((p) => p.join(",")).join(" "),
    "stroke-width": 2 * handles.stage.unit,
  });
  const fit = told.residual_mm === null ? "" : `, edges fit to ${told.residual_mm.toFixed(2)} mm`;
  const how = isRuler() ? "By the ruler" : told.snapped ? "Straight edges found" : "By your marks alone";
  say(`${how}: expected area error ${told.error_percent.toFixed(1)} %${fit}. ${told.caveat}`, "good");
}

function fitReference() {
  const wanted = isRuler() ? 2 : 4;
  form.elements.distance_mm.closest(".field").hidden = !isRuler();
  form.elements.snap.closest(".field").hidden = isRuler();
  if (handles.points.length !== wanted) {
    const row = isRuler()
      ? [[0.3, 0.5], [0.7, 0.5]]
      : [[0.3, 0.35], [0.7, 0.35], [0.7, 0.65], [0.3, 0.65]];
    handles.set(row.map(([u, v]) => [u * width, v * height]));
  }
}

form.addEventListener("change", (event) => {
  if (event.target === form.elements.marks) return;
  fitReference();
  marks.soon();
});
form.addEventListener("draft:back", () => {
  fitReference();
  marks.soon();
});
sends(form, { says, what: "The scale with its marks", ready: marks.stop });
fitReference();
marks.soon();
