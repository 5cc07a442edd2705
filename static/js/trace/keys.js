// The picture under the keys: arrows move the cross or the chosen point, Enter sets a point, Page keys go round a ring.

export function keys(svg, { sketch, stage, tools, choose }) {
  const { drawing } = sketch;

  function nudge(by, length) {
    if (sketch.mode === "edit" && sketch.chosen) {
      drawing.step();
      const [x, y] = sketch.at(sketch.chosen);
      sketch.put(sketch.chosen, [x + by[0] * length, y + by[1] * length]);
      stage.follow(sketch.at(sketch.chosen));
      sketch.changed();
      return;
    }
    if (sketch.mode !== "point") choose("point");
    const [x, y] = sketch.cursor;
    sketch.cursor = [x + by[0] * length, y + by[1] * length];
    stage.follow(sketch.cursor);
    sketch.redraw();
  }

  function setPoint() {
    if (sketch.mode !== "point") choose("point");
    drawing.point([...sketch.cursor]);
    sketch.changed();
  }

  function walk(by) {
    if (!drawing.rings.length) return;
    if (sketch.mode !== "edit") choose("edit");
    const at = sketch.chosen ?? { ring: 0, point: -by };
    const ring = drawing.rings[at.ring];
    sketch.chosen = { ring: at.ring, point: (at.point + by + ring.length) % ring.length };
    stage.follow(sketch.at(sketch.chosen));
    sketch.redraw();
  }

  const actions = {
    "+": () => stage.zoom(1.5, sketch.chosen ? sketch.at(sketch.chosen) : sketch.cursor),
    "-": () => stage.zoom(1 / 1.5),
    Enter: setPoint,
    c: tools.close,
    C: tools.close,
    Delete: () => sketch.removePoint(),
    Backspace: () => sketch.removePoint(),
    PageDown: () => walk(1),
    PageUp: () => walk(-1),
  };

  function actionOf(event) {
    if (event.ctrlKey || event.metaKey) {
      return tools[{ z: event.shiftKey ? "redo" : "undo", y: "redo" }[event.key.toLowerCase()]];
    }
    if (event.altKey) return null;
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    return by ? () => nudge(by, event.shiftKey ? 5 : 0.5) : actions[event.key];
  }

  svg.addEventListener("keydown", (event) => {
    const action = actionOf(event);
    if (!action) return;
    event.preventDefault();
    action();
  });
}
