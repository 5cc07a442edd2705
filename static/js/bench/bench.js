// Moving, resizing and drawing lesions on the insole. The typed numbers are the only state: a drag writes them and
// the server computes from them, so the page works the same without this file.

import { drags } from "./drag.js";
import { Outlines } from "./draw.js";
import { Inlays } from "./inlays.js";
import { Layer } from "./layer.js";
import { waits } from "./waiting.js";

const form = document.getElementById("bench");
const layer = new Layer(form);
const outlines = new Outlines(layer);
const inlays = new Inlays(layer);
drags(layer, () => outlines.busy || inlays.busy);
document.getElementById("bench-help").hidden = false;

// Which section is shown changes nothing that is computed.
form.addEventListener("input", (event) => {
  if (event.target.name === "section") event.stopImmediatePropagation();
}, { capture: true });
form.addEventListener("input", (event) => {
  const lesion = layer.lesions.find((one) => one.fieldset.contains(event.target));
  if (!lesion) return;
  const typedPlace = ["x_mm", "y_mm", "length_mm", "width_mm", "angle_deg"].some((n) => event.target === lesion.fields[n]);
  if (typedPlace && lesion.fields.how.value === "placed") lesion.fields.how.value = "typed";
  lesion.draw();
});
waits(form);
document.body.addEventListener("htmx:afterSettle", () => layer.refresh());
layer.refresh();
