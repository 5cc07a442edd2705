"""A section through a lesion and the stack under it, along the foot, to scale."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shapely import LineString, Polygon, box, unary_union
from shapely.geometry.base import BaseGeometry

from offload.core.errors import ReliefError
from offload.core.foam.stack import Layer
from offload.core.plan.compute import ComputedPlan
from offload.core.plan.openings import CutLayer
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline
from offload.core.sheets.drawing import (
    Box,
    Drawing,
    DrawingLayer,
    Hatch,
    Item,
    Path,
    Pen,
    Point,
    Text,
    clipped,
    line,
    text_width,
)

__all__ = ["UnderLoad", "layer_names", "section_drawing", "voids"]

HATCH_OF_ROLE = {"cover": Hatch.COVER, "middle": Hatch.MIDDLE, "base": Hatch.BASE}
TISSUE_HEIGHT = 4.0  # [mm] drawn only to show which side the foot is on; not a measure of the tissue
AROUND = 8.0  # [mm] foam shown beyond the opening
LETTERS = 2.4  # [mm]
PITCH = 3.2  # [mm] between the base lines of two role words
UNDER = 3.4  # [mm] room for the words on what the load does
LOADED_PEN = Pen(0.4, (1.2, 0.8))
HEAD, FOOT = 9.5, 5.0  # [mm] room for the two dimensions and the words heel and toes
Interval = tuple[float, float]


@dataclass(frozen=True)
class UnderLoad:
    """What the load does on the line of a section.

    Parameters
    ----------
    y : sequence of float
        Places along the foot [mm].
    descent : sequence of float
        How far the cover's upper face comes down there [mm].
    void : sequence of float
        Free depth of the void there before the load [mm].
    still_open : sequence of float
        What stays open of it there [mm]; the layers over a void sag by another measure than the face they are
        under.
    left : float
        What stays open of it under the lesion, at its tightest [mm].
    """

    y: Sequence[float]
    descent: Sequence[float]
    void: Sequence[float]
    still_open: Sequence[float]
    left: float


def section_drawing(
    plan: ComputedPlan, label: str, *, max_width: float = 90.0, under_load: UnderLoad | None = None
) -> Drawing:
    """Draw the section along y through one lesion.

    Parameters
    ----------
    plan : ComputedPlan
        The plan.
    label : str
        Label of the lesion; the section runs through its centroid.
    max_width : float
        Widest the drawing may be [mm]; a longer section is drawn smaller, by a factor it states.
    under_load : UnderLoad or None
        Draws the foot's face and the void's roof under load as broken lines, and states what of the void is
        left. Such a drawing is for a page, which shows it at any size, so it claims none.

    Returns
    -------
    Drawing
        Heel at the left, toes at the right, foot above, each layer by its hatch and role word; horizontal and
        vertical scale are the same. Every opening that the line meets is shown.

    Raises
    ------
    ReliefError
        If no lesion has this label or the width leaves no room for the words beside the section.

    Notes
    -----
    On each face the void is where the line x = const lies inside the cut outline; the wall between the two
    faces is straight. Where one interval above faces several below, the ridge between them rises at the
    bevel's angle.
    """
    lesion = _lesion(plan, label)
    x = lesion.outline.polygon.centroid.x
    cuts = [cut for opening in plan.openings if label in opening.labels for cut in opening.layers]
    ends = [end for cut in cuts for interval in _intervals(cut.top, x) for end in interval]
    ends += [end for interval in _intervals(lesion.outline, x) for end in interval]
    low, high = min(ends) - AROUND, max(ends) + AROUND
    names = layer_names(plan)
    words = [
        f"{name} {layer.thickness:g} mm{_inlay_word(layer, x, low, high)}"
        for name, layer in zip(names, plan.spec.stack, strict=True)
    ]
    beside = 4.0 + max(text_width(word, LETTERS) for word in words)
    room = max_width - beside
    if room < 20:
        raise ReliefError(f"section max_width: {max_width:g} mm given, at least {beside + 20:.0f} mm needed")
    scale = 1.0 if high - low <= room else math.floor(room / (high - low) * 20) / 20
    if scale <= 0:
        raise ReliefError(
            f"section max_width: {max_width:g} mm given, too little for {high - low:.0f} mm of foam"
        )

    total = sum(layer.thickness for layer in plan.spec.stack)
    height = FOOT + (total + TISSUE_HEIGHT) * scale + HEAD
    below = UNDER if under_load is not None else 0.0
    slabs, marks = _foam(plan, x, low, high), _foot(lesion, x, low, high, total)
    layers = [DrawingLayer("SECTION", (*slabs, *marks))]
    if under_load is not None:
        layers.append(DrawingLayer("LOADED", tuple(_loaded(plan, under_load, low, high, total))))
    inner = Drawing("section", high - low, total + TISSUE_HEIGHT, tuple(layers))
    title = f"Section through ulcer {label}, along the foot"
    if under_load is None:
        title += ", true size" if scale == 1 else f", {scale:.2f} of true size"
    width = (high - low) * scale + beside
    around: list[Item] = [
        Text((0, height - 2.6), title, min(LETTERS, LETTERS * width / text_width(title, LETTERS)))
    ]
    around += _role_words(plan, words, (high - low) * scale, scale)
    around += _dimensions(plan, label, x, low, high, scale, total)
    if under_load is not None:
        room_between = (high - low) * scale
        loaded = f"broken: under load; space left {under_load.left:.1f} mm"
        if text_width(loaded, LETTERS) < room_between:
            around.append(Text((room_between / 2, -1.6), loaded, LETTERS, "middle"))
        else:
            around.append(Text((0, -1.6), loaded, LETTERS))
    text = Drawing("words", width, height, (DrawingLayer("TEXT", tuple(around)),))
    drawn = (*inner.moved(0, FOOT + below, scale), *text.moved(0, below))
    return Drawing(title, width, height + below, drawn)


def layer_names(plan: ComputedPlan) -> tuple[str, ...]:
    """Return the layers' names from the foot down: the role words, numbered where a role occurs twice."""
    roles = [layer.role for layer in plan.spec.stack]
    return tuple(
        f"{role} {roles[: i + 1].count(role)}" if roles.count(role) > 1 else role
        for i, role in enumerate(roles)
    )


def voids(cut: CutLayer, x: float, thickness: float, bevel: float) -> Polygon | BaseGeometry:
    """Return the void of one cut layer on the line at `x`, in (y, height above the layer's lower face)
    [mm].
    """
    below = _intervals(cut.bottom, x)
    slope = math.tan(math.radians(bevel))
    shapes: list[BaseGeometry] = []
    for a, b in _intervals(cut.top, x):
        under = [i for i in below if i[1] > a and i[0] < b]
        if not under:  # the line meets the bevel only
            depth = min(thickness, (b - a) / 2 * slope)
            shapes.append(Polygon([(a, thickness), (b, thickness), ((a + b) / 2, thickness - depth)]))
            continue
        shape: BaseGeometry = Polygon([(a, thickness), (b, thickness), (under[-1][1], 0), (under[0][0], 0)])
        for left, right in zip(under, under[1:], strict=False):
            gap = right[0] - left[1]
            apex = (left[1] + gap / 2, min(thickness, gap / 2 * slope))
            shape = shape.difference(Polygon([(left[1], 0), (right[0], 0), apex]))
        shapes.append(shape)
    return unary_union(shapes)


def _lesion(plan: ComputedPlan, label: str) -> LesionSpec:
    for lesion in plan.spec.lesions:
        if lesion.label == label:
            return lesion
    known = ", ".join(lesion.label for lesion in plan.spec.lesions)
    raise ReliefError(f"section label: {label} given, must be one of {known}")


def _intervals(outline: Outline, x: float) -> list[Interval]:
    """Return where the line at `x` runs inside an outline, from heel to toes."""
    b = outline.polygon.bounds
    hit = outline.polygon.intersection(LineString([(x, b[1] - 1), (x, b[3] + 1)]))
    pieces = [g for g in getattr(hit, "geoms", [hit]) if isinstance(g, LineString) and g.length > 1e-9]
    return sorted((piece.bounds[1], piece.bounds[3]) for piece in pieces)


def _foam(plan: ComputedPlan, x: float, low: float, high: float) -> tuple[Path, ...]:
    """Return the hatched foam of every layer, heights from the base's lower face."""
    window = Box(0, -1, high - low, 1e4)
    paths: list[Path] = []
    top = sum(layer.thickness for layer in plan.spec.stack)
    for index, layer in enumerate(plan.spec.stack):
        bottom = top - layer.thickness
        cut = unary_union(
            [
                voids(cut, x, layer.thickness, plan.spec.bevel)
                for opening in plan.openings
                for cut in opening.layers
                if cut.index == index
            ]
        )
        for start, end in _intervals(plan.insole.outline, x):
            slab = Polygon([(start, 0), (end, 0), (end, layer.thickness), (start, layer.thickness)])
            whole = slab.difference(cut)
            inlays = unary_union([box(a, 0, b, layer.thickness) for a, b in _inlay_spans(layer, x)])
            for left, hatch in (
                (whole.difference(inlays), HATCH_OF_ROLE[layer.role]),
                (whole.intersection(inlays), Hatch.INLAY),
            ):
                for piece in getattr(left, "geoms", [left]):
                    if not isinstance(piece, Polygon) or piece.is_empty:
                        continue
                    points = [(y - low, v + bottom) for y, v in piece.exterior.coords[:-1]]
                    shape = Path(tuple(points), closed=True, pen=Pen(0.2), hatch=hatch)
                    paths += clipped([shape], window)
        top = bottom
    return tuple(paths)


def _inlay_spans(layer: Layer, x: float) -> list[Interval]:
    """Where the line at `x` runs through inlays of a layer."""
    return [span for inlay in layer.inlays for span in _intervals(inlay.region, x)]


def _inlay_word(layer: Layer, x: float, low: float, high: float) -> str:
    """The inlay that a section shows in a layer, in words."""
    shown = [
        inlay.foam for inlay in layer.inlays for a, b in _intervals(inlay.region, x) if a < high and b > low
    ]
    return f", inlay {' and '.join(dict.fromkeys(shown))}" if shown else ""


def _foot(lesion: LesionSpec, x: float, low: float, high: float, total: float) -> tuple[Path, ...]:
    """Return the tissue above the cover and the lesion as a thick line on its surface."""
    band = ((0, total), (high - low, total), (high - low, total + TISSUE_HEIGHT), (0, total + TISSUE_HEIGHT))
    tissue = Path(band, closed=True, pen=None, hatch=Hatch.TISSUE)
    on_lesion = [
        line((a - low, total + 0.5), (b - low, total + 0.5), pen=Pen(0.9))
        for a, b in _intervals(lesion.outline, x)
    ]
    return (tissue, *on_lesion)


def _loaded(plan: ComputedPlan, loaded: UnderLoad, low: float, high: float, total: float) -> list[Path]:
    """Return the foot's face under load, and the roof of the void where it is cut, as broken lines."""
    rows = [
        (y, down, gap, left)
        for y, down, gap, left in zip(loaded.y, loaded.descent, loaded.void, loaded.still_open, strict=True)
        if low <= y <= high
    ]
    first = min(cut.index for opening in plan.openings for cut in opening.layers)
    roof = total - sum(layer.thickness for layer in plan.spec.stack[:first])
    face = tuple((y - low, total - down) for y, down, _, _ in rows)
    paths = [Path(face, pen=LOADED_PEN)] if len(face) > 1 else []
    run: list[Point] = []
    for y, _, gap, left in (*rows, (math.inf, 0.0, 0.0, 0.0)):
        if gap > 0:
            run.append((y - low, roof - (gap - left)))
            continue
        if len(run) > 1:
            paths.append(Path(tuple(run), pen=LOADED_PEN))
        run = []
    return paths


def _role_words(plan: ComputedPlan, words: Sequence[str], edge: float, scale: float) -> list[Item]:
    """Return the role words beside the section, spread so that none covers another, each with a leader."""
    top = FOOT + sum(layer.thickness for layer in plan.spec.stack) * scale
    wanted: list[tuple[float, str]] = [(top + TISSUE_HEIGHT * scale / 2, "foot")]
    for layer, word in zip(plan.spec.stack, words, strict=True):
        wanted.append((top - layer.thickness * scale / 2, word))
        top -= layer.thickness * scale
    items: list[Item] = []
    previous = math.inf
    for height, word in wanted:
        at = min(height, previous - PITCH)
        items.append(line((edge, height), (edge + 2.0, at), pen=Pen(0.12)))
        items.append(Text((edge + 2.8, at - LETTERS * 0.35), word, LETTERS))
        previous = at
    return items


def _dimensions(
    plan: ComputedPlan, label: str, x: float, low: float, high: float, scale: float, total: float
) -> list[Item]:
    """Return the lengths of opening and floor on this line, with the words heel and toes."""
    items: list[Item] = [
        Text((0, 1.2), "heel", LETTERS),
        Text(((high - low) * scale, 1.2), "toes", LETTERS, "end"),
    ]
    for a, b in _intervals(_lesion(plan, label).outline, x):
        at = (((a + b) / 2 - low) * scale, FOOT + total * scale + 1.3)
        items.append(Text(at, label, LETTERS, "middle", bold=True))
    names = layer_names(plan)
    for opening in plan.openings:
        if label not in opening.labels:
            continue
        above = FOOT + (total + TISSUE_HEIGHT) * scale + 1.6
        first = opening.layers[0]
        items += _dimension(
            _intervals(first.top, x), low, scale, above, f"opening, top of {names[first.index]}"
        )
        items += _dimension(_intervals(opening.floor, x), low, scale, FOOT - 1.4, "floor")
    return items


def _dimension(spans: Iterable[Interval], low: float, scale: float, height: float, word: str) -> list[Item]:
    items: list[Item] = []
    for a, b in spans:
        left: Point = ((a - low) * scale, height)
        right: Point = ((b - low) * scale, height)
        items.append(line(left, right, pen=Pen(0.12)))
        items += [line((u, height - 0.8), (u, height + 0.8), pen=Pen(0.12)) for u in (left[0], right[0])]
        below = word == "floor"
        at = ((left[0] + right[0]) / 2, height - 2.4 if below else height + 1.0)
        items.append(Text(at, f"{word} {b - a:.1f} mm", LETTERS - 0.2, "middle"))
    return items
