// Moving, resizing and turning a lesion by finger, mouse and arrow keys.

import { frame, turned } from "./frame.js";
import { GRIP_OUT } from "./mark.js";

const LEAST = 1; // mm, the smallest length or width

// `busy` tells whether the finger belongs to something else meanwhile.
export function drags(layer, busy) {
  for (const lesion of layer.lesions) {
    drag(lesion.mark, (at, from, start) => {
      lesion.moveTo([start.centre[0] + at[0] - from[0], start.centre[1] + at[1] - from[1]]);
    });
    drag(lesion.lengthGrip, (at) => lengthen(lesion, at));
    drag(lesion.widthGrip, (at) => widen(lesion, at));
    lesion.mark.addEventListener("focus", () => layer.choose(lesion));
    lesion.mark.addEventListener("keydown", (event) => nudge(layer, lesion, event));

    function drag(target, follow) {
      target.addEventListener("pointerdown", (event) => {
        if (event.button !== 0 || busy()) return;
        event.preventDefault();
        follows(layer, lesion, target, event, follow);
      });
    }
  }
}

function follows(layer, lesion, target, event, follow) {
  layer.choose(lesion);
  lesion.mark.focus({ preventScroll: true });
  const from = layer.pointOf(event);
  const start = { centre: lesion.centre, changed: false };
  target.setPointerCapture(event.pointerId);
  const move = (next) => {
    layer.board.classList.add("moving");
    start.changed = true;
    follow(layer.pointOf(next), from, start);
    layer.moving();
  };
  const end = () => {
    target.removeEventListener("pointermove", move);
    layer.board.classList.remove("moving");
    if (start.changed) layer.moved(lesion);
  };
  target.addEventListener("pointermove", move);
  target.addEventListener("pointerup", end, { once: true });
  target.addEventListener("pointercancel", end, { once: true });
}

function lengthen(lesion, at) {
  const [x, y] = lesion.centre;
  const reach = Math.hypot(at[0] - x, at[1] - y);
  const least = lesion.fields.outline.value ? LEAST : lesion.number("width_mm");
  // Counter-clockwise from +y, in the foot's own frame: the mirror of the left foot is undone by toFoot.
  const angle = (Math.atan2(at[1] - y, at[0] - x) * 180) / Math.PI - 90;
  lesion.write({
    length_mm: Math.max(least, LEAST, 2 * (reach - GRIP_OUT)),
    angle_deg: Math.round(angle < -180 ? angle + 360 : angle),
  });
}

function widen(lesion, at) {
  const [x, y] = lesion.centre;
  const [u] = turned([at[0] - x, at[1] - y], -lesion.number("angle_deg"));
  lesion.write({ width_mm: Math.min(lesion.number("length_mm"), Math.max(LEAST, 2 * (u - GRIP_OUT))) });
}

function nudge(layer, lesion, event) {
  const step = event.shiftKey ? 5 : 1;
  const { sign } = frame();
  // Right on the screen is lateral on a right foot and medial on a left one.
  const by = {
    ArrowLeft: [-sign * step, 0],
    ArrowRight: [sign * step, 0],
    ArrowUp: [0, step],
    ArrowDown: [0, -step],
  }[event.key];
  if (!by || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const [x, y] = lesion.centre;
  lesion.moveTo([x + by[0], y + by[1]]);
  layer.moved(lesion);
}
