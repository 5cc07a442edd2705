"""A plan seen from the foot's side: insole, zones, lesions and cut outlines in true mm.

The core keeps x lateral for both feet. Seen with the foot side up and the toes away from the reader, the
little toe of a right foot is on the right and that of a left foot on the left: the left foot is mirrored
here, once, and nowhere else.
"""

from __future__ import annotations

from shapely import LineString, Polygon, box

from offload.core.errors import ReliefError
from offload.core.plan.compute import ComputedPlan
from offload.core.plan.inlay_checks import piece_of
from offload.core.plan.inlays import PlacedInlay, inlays_in
from offload.core.shapes.outline import Outline
from offload.core.sheets.alignment import alignment_layer
from offload.core.sheets.drawing import (
    SOLID,
    Box,
    Drawing,
    DrawingLayer,
    Hatch,
    Item,
    Path,
    Pen,
    Point,
    Text,
    line,
)
from offload.core.sheets.section import layer_names

__all__ = [
    "INLAY_BAND",
    "INLAY_PEN",
    "cut_name",
    "drawn_bounds",
    "drawn_point",
    "insole_drawing",
    "insole_layers",
    "ring_path",
]

OUTLINE_PEN = Pen(0.45)
TOP_PEN = Pen(0.3)
FLOOR_PEN = Pen(0.25, (2.0, 1.2))
INLAY_PEN = Pen(0.3, (5.0, 1.0, 1.0, 1.0))
INLAY_BAND = 2.0  # [mm] along an inlay's edge; within it stand its words
HATCHED = 1.6  # [mm] of that band, so that no letter touches a stroke
LESION_PEN = Pen(0.25, (0.5, 0.9))
ZONE_PEN = Pen(0.15, (4.0, 1.2, 0.6, 1.2), 0.3)


def drawn_point(point: Point, side: str) -> Point:
    """Return where a point of the anatomical frame is drawn, foot side up, before the sheet moves it [mm]."""
    if side not in ("left", "right"):
        raise ReliefError(f"side: {side} given, must be left or right")
    return (-point[0], point[1]) if side == "left" else (point[0], point[1])


def drawn_bounds(plan: ComputedPlan) -> Box:
    """Return the box of all that is drawn of the plan: insole and openings [mm]."""
    outlines = [plan.insole.outline, *(cut.top for opening in plan.openings for cut in opening.layers)]
    outlines += [placed.inlay.region for placed in inlays_in(plan.spec.stack)]
    points = [drawn_point(p, plan.spec.side) for outline in outlines for p in outline.exterior]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def cut_name(plan: ComputedPlan, index: int, face: str) -> str:
    """Return the name of a layer of cut outlines, such as CUT_MIDDLE_TOP or CUT_MIDDLE_2_FLOOR."""
    return f"CUT_{layer_names(plan)[index].upper().replace(' ', '_')}_{face}"


def ring_path(outline: Outline, side: str, pen: Pen = SOLID, hatch: Hatch | None = None) -> tuple[Path, ...]:
    """Return an outline and its holes as closed paths."""
    rings = (outline.exterior, *outline.holes)
    return tuple(
        Path(tuple(drawn_point(p, side) for p in ring), closed=True, pen=pen, hatch=None if number else hatch)
        for number, ring in enumerate(rings)
    )


def insole_layers(plan: ComputedPlan, cut_index: int | None = None) -> tuple[DrawingLayer, ...]:
    """Return the plan's lines in the drawn frame.

    Parameters
    ----------
    plan : ComputedPlan
        The plan.
    cut_index : int or None
        Place in the stack of the one layer whose cut is wanted; all cut layers if None.

    Returns
    -------
    tuple of Layer
        ZONES, OUTLINE, ALIGN, LESION, INLAY_… where a layer has inlays, one pair CUT_…_TOP and CUT_…_FLOOR
        for each cut layer, TEXT.
    """
    side = plan.spec.side
    layers = [
        DrawingLayer("ZONES", tuple(_zone_lines(plan))),
        DrawingLayer("OUTLINE", ring_path(plan.insole.outline, side, OUTLINE_PEN)),
        alignment_layer(
            plan.insole.outline,
            [
                *(c.top for opening in plan.openings for c in opening.layers),
                *(placed.inlay.region for placed in inlays_in(plan.spec.stack)),
            ],
        ),
        DrawingLayer(
            "LESION",
            tuple(
                path
                for lesion in plan.spec.lesions
                for path in ring_path(lesion.outline, side, LESION_PEN, Hatch.TISSUE)
            ),
        ),
    ]
    for placed in inlays_in(plan.spec.stack):
        if cut_index in (None, placed.index):
            name = f"INLAY_{layer_names(plan)[placed.index].upper().replace(' ', '_')}"
            layers.append(DrawingLayer(name, tuple(_inlay(plan, placed))))
    for index in sorted({cut.index for opening in plan.openings for cut in opening.layers}):
        if cut_index is not None and index != cut_index:
            continue
        cuts = [cut for opening in plan.openings for cut in opening.layers if cut.index == index]
        for face, pen in (("TOP", TOP_PEN), ("FLOOR", FLOOR_PEN)):
            outlines = [cut.top if face == "TOP" else cut.bottom for cut in cuts]
            paths = tuple(path for outline in outlines for path in ring_path(outline, side, pen))
            layers.append(DrawingLayer(cut_name(plan, index, face), paths))
    return (*layers, DrawingLayer("TEXT", tuple(_words(plan))))


def insole_drawing(plan: ComputedPlan, *, margin: float = 5.0) -> Drawing:
    """Return the plan's lines alone, without sheet, bars or code, for a page that shows the plan [mm]."""
    bounds = drawn_bounds(plan).grown(margin)
    bare = Drawing("plan", bounds.width, bounds.height, insole_layers(plan))
    labels = ", ".join(lesion.label for lesion in plan.spec.lesions)
    title = f"{plan.spec.side.capitalize()} insole, foot side up, ulcers {labels}"
    return Drawing(title, bounds.width, bounds.height, bare.moved(-bounds.left, -bounds.bottom))


def _inlay(plan: ComputedPlan, placed: PlacedInlay) -> list[Path]:
    """Return the hatch along the edge of what is left of an inlay and the line it is cut along."""
    paths: list[Path] = []
    bands = [piece.difference(piece.buffer(-HATCHED)) for piece in piece_of(placed, plan.openings)]
    for piece in [part for band in bands for part in getattr(band, "geoms", [band])]:
        halves = [piece]
        if piece.interiors:  # a hatched path has no holes
            x, (a, b, c, d) = piece.interiors[0].centroid.x, piece.bounds
            halves = [piece.intersection(box(a, b, x, d)), piece.intersection(box(x, b, c, d))]
        for half in halves:
            for part in getattr(half, "geoms", [half]):
                if isinstance(part, Polygon) and part.area > 0.0:
                    ring = tuple(drawn_point((u, v), plan.spec.side) for u, v in part.exterior.coords[:-1])
                    paths.append(Path(ring, closed=True, pen=None, hatch=Hatch.INLAY))
    return [*paths, *ring_path(placed.inlay.region, plan.spec.side, INLAY_PEN)]


def _span(plan: ComputedPlan, y: float) -> tuple[float, float] | None:
    """Return the insole's medial and lateral end on the line at `y`, in the anatomical frame."""
    b = plan.insole.outline.polygon.bounds
    hit = plan.insole.outline.polygon.intersection(LineString([(b[0] - 1, y), (b[2] + 1, y)]))
    return None if hit.is_empty else (hit.bounds[0], hit.bounds[2])


def _zone_lines(plan: ComputedPlan) -> list[Path]:
    paths = []
    for y in plan.insole.zone_lines:
        span = _span(plan, y)
        if span is not None and span[1] > span[0]:
            ends = [drawn_point((x, y), plan.spec.side) for x in span]
            paths.append(line(*ends, pen=ZONE_PEN))
    return paths


def _words(plan: ComputedPlan) -> list[Item]:
    """Return the words that stand in the insole: lesion labels, medial and lateral, heel and toes."""
    side = plan.spec.side
    items: list[Item] = []
    for lesion in plan.spec.lesions:
        x, y = drawn_point(tuple(lesion.outline.polygon.centroid.coords[0]), side)  # type: ignore[arg-type]
        items.append(Text((x, y - 1.3), lesion.label, 3.6, "middle", bold=True))
    y = (plan.insole.zone_lines[0] + plan.insole.zone_lines[1]) / 2
    span = _span(plan, y)
    if span is not None:
        for x, word, inward in ((span[0], "big toe side", 1), (span[1], "little toe side", -1)):
            at = drawn_point((x + 4.5 * inward, y), side)
            # Read from below at either edge; the base line is on the letters' right when turned by 90°.
            items.append(Text((at[0] + 0.9, at[1]), word, 2.6, "middle", angle=90, shade=0.3))
    _, low, _, high = plan.insole.outline.polygon.bounds
    for y, word in ((low + 5.0, "heel"), (high - 9.0, "toes")):
        x = sum(_span(plan, y + 1.0) or (0.0, 0.0)) / 2
        items.append(Text(drawn_point((x, y), side), word, 2.6, "middle", shade=0.3))
    return items
