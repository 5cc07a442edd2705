// One finger on the picture: it draws a stroke, sets a point or drags one, as the mode says.

import { joined, thinned } from "./rings.js";
import { Loupe, Stage } from "./stage.js";

const STROKE = 2; // screen pixels between two points of a stroke
const FINE = 0.06; // mm that thinning may leave out
const REACH = 22; // screen pixels round a point that take the finger

export class Hand {
  constructor({ svg, loupe, sketch, lines }) {
    this.sketch = sketch;
    this.lines = lines;
    this.stage = new Stage(svg, this);
    this.loupe = new Loupe(loupe, this.stage);
    sketch.cursor = this.stage.centre;
  }

  down(at) {
    const { sketch, stage } = this;
    const reach = REACH * stage.unit;
    if (sketch.mode === "free") {
      sketch.stroke = [at];
    } else if (sketch.mode === "point") {
      sketch.cursor = at;
      const { open } = sketch.drawing;
      if (open.length > 2 && apart(open[0], at) < reach) {
        sketch.close();
      } else {
        sketch.drawing.point(at);
        sketch.changed();
      }
    } else {
      sketch.grab(at, reach);
      return sketch.held !== null;
    }
    return true;
  }

  move(at) {
    const { sketch, stage } = this;
    if (sketch.stroke) {
      if (apart(at, sketch.stroke.at(-1)) < STROKE * stage.unit) return;
      sketch.stroke.push(at);
      this.lines.stroke(sketch.stroke);
    } else if (sketch.held) {
      const { held } = sketch;
      sketch.put(held, [at[0] + held.off[0], at[1] + held.off[1]]);
      held.moved = true;
      this.loupe.show(sketch.at(held));
      sketch.redraw();
    }
  }

  up() {
    if (this.sketch.stroke) this.#drawn();
    else if (this.sketch.held) this.#dropped();
  }

  cancel() {
    const { sketch } = this;
    if (sketch.held) sketch.put(sketch.held, sketch.held.was);
    sketch.stroke = sketch.held = null;
    this.loupe.hide();
    sketch.redraw();
  }

  redraw() {
    this.sketch.redraw();
  }

  #drawn() {
    const { sketch } = this;
    const drawn = thinned(joined(sketch.stroke), FINE);
    const long = sketch.stroke.length;
    sketch.stroke = null;
    if (long < 8 || drawn.length < 4) sketch.say("Too short. Draw once round it, back to where you began.", "bad");
    else sketch.drawing.add(drawn);
    sketch.changed();
  }

  // The step back leads to where the point was before the drag.
  #dropped() {
    const { sketch } = this;
    const { held } = sketch;
    if (held.moved) {
      const moved = sketch.at(held);
      sketch.put(held, held.was);
      sketch.drawing.step();
      sketch.put(held, moved);
    }
    sketch.held = null;
    this.loupe.hide();
    sketch.changed();
  }
}

function apart(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}
