// Drawing over the flattened photo. What is measured comes from the server, always; here only lines are drawn.

import { drafts } from "../drafts.js";
import { Area } from "./area.js";
import { Hand } from "./hand.js";
import { keys } from "./keys.js";
import { Lines } from "./lines.js";
import { sends, teller } from "./send.js";
import { Sketch } from "./sketch.js";
import { modes, tools } from "./tools.js";

const form = document.getElementById("trace");
const says = document.getElementById("trace-says");
const say = teller(says);
const svg = document.getElementById("stage");
const last = document.getElementById("last");
const NAME = location.pathname + location.search;
let store = null;

const sketch = new Sketch({ say, changed, redraw });
const lines = new Lines(svg, last);
const hand = new Hand({ svg, loupe: document.getElementById("loupe"), sketch, lines });
const { stage } = hand;
const area = new Area(form, { sketch, stage, say });
const choose = modes(form, { svg, sketch });
keys(svg, { sketch, stage, tools: tools(form, { sketch, stage, area, choose }), choose });

function redraw() {
  lines.draw(sketch, stage.unit);
}

function changed() {
  form.elements.outline.value = sketch.outline;
  redraw();
  store?.keep(NAME, { drawing: sketch.drawing.state, key: form.elements.submission_key.value });
  area.changed();
}

// --- what is shown beside what is drawn ---------------------------------------------------------------------------
document.getElementById("show-last")?.addEventListener("change", (event) => {
  // Whoever has seen last week's outline does not draw without knowing it: such a trace is no repeat.
  form.elements.blind.value = event.target.checked ? "" : form.elements.blind.value;
  const [x, y] = area.told ? centreOf(sketch.drawing.rings[0]) : stage.centre;
  last.setAttribute("transform", `translate(${x} ${y})`);
  last.setAttribute("visibility", event.target.checked ? "visible" : "hidden");
});
document.getElementById("contrast").addEventListener("change", (event) => {
  svg.classList.toggle("contrast", event.target.checked);
});

function centreOf(ring) {
  const n = ring.length;
  return [0, 1].map((k) => ring.reduce((sum, p) => sum + p[k], 0) / n);
}

// --- sending: a lost network leaves the page and the outline as they are ----------------------------------------------
sends(form, {
  says,
  what: "The outline",
  ready: () => {
    if (sketch.drawing.open.length > 2) sketch.close();
    area.asks.stop();
  },
  arrived: () => store?.drop(NAME),
});
window.addEventListener("online", () => {
  if (sketch.drawing.rings.length) area.asks.now();
});

redraw();
store = await drafts;
const kept = await store?.kept(NAME);
if (kept && !sketch.drawing.rings.length) {
  sketch.drawing.state = kept.value.drawing;
  form.elements.submission_key.value = kept.value.key;
  changed();
}
