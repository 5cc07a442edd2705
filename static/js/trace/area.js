// What stands, as the server measures it.

import { asks } from "./ask.js";
import { SMOOTH } from "./sketch.js";

export const CLOSE = 0.6; // share of the stage that a shape fills when looked at closely
const COARSE = 2; // per cent of the area that one screen pixel round the margin may be worth before it is said

export class Area {
  told = null; // the newest answer, of what is drawn now
  #before = null; // area before smoothing, to tell what it changed

  constructor(form, { sketch, stage, say }) {
    Object.assign(this, { sketch, stage, say });
    this.scale = `Scale ± ${Number(form.dataset.error).toFixed(1)} %.`;
    this.asks = asks(form, {
      after: 120,
      tell: (told) => this.#tell(told),
      lost: () => say("No answer from the clinic's server: the outline stays here, its area comes when the network is back.", "bad"),
    });
  }

  // What is drawn has changed.
  changed() {
    this.asks.hold();
    if (this.sketch.drawing.rings.length) this.asks.soon();
    else this.told = null;
  }

  // The next answer is told against what stands now.
  compare() {
    this.#before = this.told?.area_mm2 ?? null;
  }

  #tell(told) {
    if (told.refused !== undefined) {
      this.told = null;
      this.say(told.refused || "Nothing drawn yet.", "bad");
      return;
    }
    this.told = told;
    const size = `${(told.area_mm2 / 100).toFixed(2)} cm², ${told.length_mm.toFixed(1)} × ${told.width_mm.toFixed(1)} mm`;
    let words = `${size}, margin ${told.perimeter_mm.toFixed(0)} mm. ${this.scale}`;
    if (this.#before) {
      const by = (100 * (told.area_mm2 - this.#before)) / this.#before;
      const signed = `${by < 0 ? "−" : "+"}${Math.abs(by).toFixed(1)} %`;
      words += ` Smoothing changed the area by ${signed}, no point by more than ${SMOOTH} mm.`;
      this.#before = null;
    }
    this.say(words + this.#coarse(told), "good");
  }

  // A hand wanders by pixels of the screen: the nearer the picture, the less of the wound that is.
  #coarse(told) {
    const { unit, view } = this.stage;
    const [left, top, right, bottom] = this.sketch.span;
    const pixel = (100 * told.perimeter_mm * unit) / told.area_mm2;
    const nearer = Math.max(right - left, bottom - top) / (CLOSE * Math.min(view.width, view.height));
    if (!(pixel > COARSE && nearer < 0.7)) return "";
    return ` One pixel of this screen all round is ${pixel.toFixed(1)} % of it; drawn closer, ${(pixel * nearer).toFixed(1)} %.`;
  }
}
