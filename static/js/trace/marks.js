// Three marks that lay a photographed insole on the insole of the record: landmarks, or the sheet's two holes.

import { Handles } from "./handles.js";
import { sends } from "./send.js";

const form = document.getElementById("place");
const [left, top, width, height] = ["left", "top", "width", "height"].map((name) => Number(form.dataset[name]));
const BIG_TOE = { short: "Big toe", long: "Big toe" };
const NAMES = {
  landmarks: [
    { short: "Heel", long: "Middle of the heel edge" },
    { short: "2nd toe", long: "Front edge in line with the second toe" },
    BIG_TOE,
  ],
  holes: [
    { short: "Rear hole", long: "The hole nearer the heel" },
    { short: "Front hole", long: "The hole nearer the toes" },
    BIG_TOE,
  ],
};
const names = () => NAMES[form.elements.placed_by.value] ?? NAMES.landmarks;
const handles = new Handles({
  svg: document.getElementById("stage"),
  loupe: document.getElementById("loupe"),
  field: form.elements.marks,
  names: names(),
  closed: false,
  changed: () => {},
});
if (handles.points.length !== 3) {
  handles.set([[0.5, 0.85], [0.5, 0.15], [0.4, 0.25]].map(([u, v]) => [left + u * width, top + v * height]));
}
const show = () => {
  handles.rename(names());
  handles.layer.setAttribute("visibility", form.elements.placed_by.value in NAMES ? "visible" : "hidden");
};
form.addEventListener("change", show);
form.addEventListener("draft:back", show);
sends(form, {
  says: document.getElementById("place-says"),
  what: "The imprint with its marks",
  refused: () => form.submit(), // the server gives the page back with its reasons at their fields
});
show();
