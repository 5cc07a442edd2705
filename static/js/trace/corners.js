// Marking the reference in a photo: four corners, or two ends on a ruler. The server says what they are worth.

import { Handles } from "./handles.js";
import { sends } from "./send.js";
import { make, set } from "./stage.js";

const form = document.getElementById("scale");
const says = document.getElementById("scale-says");
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
    if (done) check();
  },
});

const isRuler = () => form.elements.reference.value === "ruler";
let asked = null;
let wait = 0;

function check() {
  clearTimeout(wait);
  wait = setTimeout(ask, 150);
}

// An answer still on its way must not write over what became of the sending.
function unasked() {
  clearTimeout(wait);
  asked?.abort();
}

async function ask() {
  unasked();
  asked = new AbortController();
  try {
    const answer = await fetch(form.dataset.check, { method: "POST", body: new FormData(form), signal: asked.signal });
    if (!answer.ok) throw new Error(String(answer.status));
    tell(await answer.json());
  } catch (fault) {
    if (fault.name !== "AbortError") say("No answer from the clinic's server; the marks stay here.", "bad");
  }
}

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

function say(words, kind) {
  says.textContent = words;
  says.className = `verdict-line ${kind}`;
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
  check();
});
form.addEventListener("draft:back", () => {
  fitReference();
  check();
});
sends(form, { says, what: "The scale with its marks", ready: unasked });
fitReference();
check();
