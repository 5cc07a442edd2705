"""What lines up sheet, insole and photograph: heel edge, long axis and two holes."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import LineString, Point

from offload.core.shapes.imprint import HOLES
from offload.core.shapes.outline import Outline
from offload.core.sheets.drawing import DrawingLayer, Item, Pen, Text, circle, line

__all__ = ["AXIS_PEN", "alignment_layer", "hole_mark"]

AXIS_PEN = Pen(0.15, (6.0, 2.0, 1.0, 2.0), 0.3)
HOLE_PEN = Pen(0.3)
HOLE_RADIUS = 2.0  # [mm] a pen's tip
CLEAR = 4.0  # [mm] a hole nearer to a cut is left out


def alignment_layer(insole: Outline, cuts: Sequence[Outline]) -> DrawingLayer:
    """Return the alignment marks of one insole in the drawn frame.

    Parameters
    ----------
    insole : Outline
        In the anatomical frame. [mm]
    cuts : sequence of Outline
        What is cut out: a hole that would lie in or near it is left out.

    Returns
    -------
    DrawingLayer
        ALIGN. All of it lies on the long axis, x = 0, and so is the same for both feet.
    """
    _, low, _, high = insole.bounds
    items: list[Item] = []
    axis = insole.polygon.intersection(LineString([(0.0, low - 1.0), (0.0, high + 1.0)]))
    if not axis.is_empty:
        items.append(line((0.0, axis.bounds[1]), (0.0, axis.bounds[3]), pen=AXIS_PEN))
        items.append(line((-8.0, axis.bounds[1]), (8.0, axis.bounds[1]), pen=HOLE_PEN))
    for x, y in HOLES:
        place = Point(x, y)
        if not insole.polygon.contains(place.buffer(CLEAR)):
            continue
        if any(cut.polygon.distance(place) < CLEAR for cut in cuts):
            continue
        items += hole_mark((x, y), y)
    return DrawingLayer("ALIGN", tuple(items))


def hole_mark(at: tuple[float, float], along: float) -> list[Item]:
    """Return the mark of a hole that lies so far from the heel edge [mm], drawn at a place [mm]."""
    x, y = at
    return [
        circle(at, HOLE_RADIUS, pen=HOLE_PEN),
        line((x - 4.0, y), (x + 4.0, y), pen=Pen(0.15)),
        line((x, y - 4.0), (x, y + 4.0), pen=Pen(0.15)),
        Text((x + 5.0, y - 0.8), f"hole {along:g} mm", 2.2, shade=0.3),
    ]
