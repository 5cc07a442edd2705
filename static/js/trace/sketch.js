// An outline while it is drawn: its rings, and the tool, stroke and point the hand is at. No page, no picture.

import { Rings } from "./rings.js";

export const SMOOTH = 0.5; // mm that one smoothing may move a point

export class Sketch {
  mode = "free";
  stroke = null;
  chosen = null; // { ring, point }
  held = null; // { ring, point, was, off, moved } while a finger drags a point
  cursor = [0, 0];
  drawing = new Rings();

  // `changed` runs after what is drawn has changed, `redraw` after what is chosen; `say` tells what cannot be done.
  constructor({ say, changed, redraw }) {
    this.say = say;
    this.changed = changed;
    this.redraw = redraw;
  }

  // The rings as the server takes them; empty where nothing is drawn.
  get outline() {
    const { rings, parts } = this.drawing;
    if (!rings.length) return "";
    return JSON.stringify(parts.map((part) => part.map((ring) => ring.map((p) => p.map((v) => Number(v.toFixed(2)))))));
  }

  // Left, top, right, bottom of all that is drawn.
  get span() {
    const all = this.drawing.rings.flat();
    const [xs, ys] = [0, 1].map((k) => all.map((point) => point[k]));
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  }

  // Where a point, such as the chosen one, stands.
  at({ ring, point }) {
    return this.drawing.rings[ring][point];
  }

  put({ ring, point }, at) {
    this.drawing.rings[ring][point] = at;
  }

  // Take the point within reach; a touch on the line adds a point there, which is then dragged.
  grab(at, reach) {
    const near = this.drawing.nearest(at);
    if (near.away < reach) {
      this.chosen = { ring: near.ring, point: near.point };
    } else {
      const edge = this.drawing.nearestEdge(at);
      if (edge.away >= reach) {
        this.chosen = null;
        this.redraw();
        return;
      }
      this.drawing.step();
      this.drawing.rings[edge.ring].splice(edge.after + 1, 0, at);
      this.chosen = { ring: edge.ring, point: edge.after + 1 };
    }
    const was = [...this.at(this.chosen)];
    this.held = { ...this.chosen, was, off: [was[0] - at[0], was[1] - at[1]], moved: false };
  }

  close() {
    if (!this.drawing.close()) this.say("A ring needs at least 3 points.", "bad");
    this.changed();
  }

  // The chosen ring, or all of them; one step back undoes the whole smoothing.
  smooth() {
    const { drawing, chosen } = this;
    const which = chosen ? [chosen.ring] : drawing.rings.map((_, i) => i);
    drawing.step();
    const state = drawing.past.length;
    for (const ring of which) drawing.smooth(ring, SMOOTH);
    drawing.past.length = state;
    this.changed();
  }

  // The ring being set, else the chosen ring, else the last.
  removeRing() {
    const { drawing } = this;
    if (!drawing.rings.length && !drawing.open.length) return;
    drawing.step();
    if (drawing.open.length) drawing.open = [];
    else drawing.rings.splice(this.chosen ? this.chosen.ring : drawing.rings.length - 1, 1);
    this.chosen = null;
    this.changed();
  }

  removePoint() {
    const { drawing, chosen } = this;
    if (this.mode === "edit" && chosen) {
      const ring = drawing.rings[chosen.ring];
      if (ring.length <= 3) {
        this.say("A ring needs at least 3 points; remove the ring instead.", "bad");
        return;
      }
      drawing.step();
      ring.splice(chosen.point, 1);
      chosen.point %= ring.length;
      this.changed();
    } else if (drawing.open.length) {
      drawing.step();
      drawing.open.pop();
      this.changed();
    }
  }
}
