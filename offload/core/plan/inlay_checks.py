"""Checks of the pieces of other foam let into a layer; geometry alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import shapely
from shapely import Polygon

from offload.core.foam.stack import Layer
from offload.core.plan.checks import Check, Kind
from offload.core.plan.inlays import PlacedInlay, inlays_in
from offload.core.plan.openings import Opening
from offload.core.plan.policy import INLAY_WALL, INLAY_WIDTH
from offload.core.shapes.insole import Insole
from offload.core.shapes.lesion import LesionSpec

__all__ = ["inlay_checks", "narrowest", "piece_of"]

SMALL = 1e-3  # [mm²] areas below this are rounding
FINE = 0.1  # [mm] to which a narrowest place is found
LET = 0.05  # [mm] by which a width may fall short: what a drawn ring is simplified by
_geometric = partial(Check, kind=Kind.GEOMETRY)


def inlay_checks(
    openings: Sequence[Opening], lesions: Sequence[LesionSpec], insole: Insole, stack: Sequence[Layer]
) -> tuple[Check, ...]:
    """All checks of a stack's inlays; none where there is no inlay.

    Parameters
    ----------
    openings : sequence of Opening
        Of the plan.
    lesions : sequence of LesionSpec
    insole : Insole
    stack : sequence of Layer
        From the foot down.

    Returns
    -------
    tuple of Check
    """
    placed = list(inlays_in(stack))
    if not placed:
        return ()
    return (
        _inside(placed, insole),
        _clear_of_cut(placed, openings),
        _wide_enough(placed, openings),
        _apart(placed),
        *_under_ulcers(placed, lesions, openings),
    )


def piece_of(placed: PlacedInlay, openings: Sequence[Opening]) -> list[Polygon]:
    """What is left of an inlay at its foot-facing side once the openings are cut, in parts."""
    cut = shapely.union_all(_cuts(placed, openings))
    left = placed.inlay.region.polygon.difference(cut)
    parts = getattr(left, "geoms", [left])
    return [part for part in parts if isinstance(part, Polygon) and part.area > SMALL]


def narrowest(shape: Polygon, most: float) -> float:
    """How wide a shape is at its narrowest place: the widest disc whose path through it stays in one piece;
    looked for up to `most`. [mm]
    """

    def holds(width: float) -> bool:
        left = shape.buffer(-width / 2.0)
        return not left.is_empty and len(getattr(left, "geoms", [left])) == 1

    if holds(most):
        return most
    low, high = 0.0, most
    while high - low > FINE:
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def _cuts(placed: PlacedInlay, openings: Sequence[Opening]) -> list[Polygon]:
    return [
        layer.top.polygon for opening in openings for layer in opening.layers if layer.index == placed.index
    ]


def _inside(placed: Sequence[PlacedInlay], insole: Insole) -> Check:
    edge = insole.outline.polygon

    def wall(one: PlacedInlay) -> float:
        region = one.inlay.region.polygon
        return float(region.distance(edge.boundary)) if edge.contains(region) else 0.0

    worst = min(placed, key=wall)
    found = wall(worst)
    passed = found >= INLAY_WALL - LET
    words = "enough" if passed else "too little: draw it further in"
    return _geometric(
        "inlay_wall",
        "error",
        passed,
        found,
        INLAY_WALL,
        f"The {worst.words} leaves a wall of {found:.1f} mm to the insole's edge, {words} "
        f"({INLAY_WALL:g} mm).",
    )


def _clear_of_cut(placed: Sequence[PlacedInlay], openings: Sequence[Opening]) -> Check:
    """An inlay touches an opening of its own layer or goes all round it; anything between is no one piece."""

    def over(one: PlacedInlay) -> float:
        region = one.inlay.region.polygon
        return sum(
            float(region.intersection(cut).area)
            for cut in _cuts(one, openings)
            if not region.buffer(LET).contains(cut)
        )

    worst = max(placed, key=over)
    found = over(worst)
    passed = found <= SMALL
    message = (
        "Every inlay stands clear of the cut in its layer, touches it, or goes all round it."
        if passed
        else f"The {worst.words} runs {found:.0f} mm² into the cut of its layer: draw it up to the "
        "opening, or all round it."
    )
    return _geometric("inlay_clear_of_cut", "error", passed, found, 0.0, message)


def _wide_enough(placed: Sequence[PlacedInlay], openings: Sequence[Opening]) -> Check:
    def width(one: PlacedInlay) -> float:
        parts = piece_of(one, openings)
        return min((narrowest(part, INLAY_WIDTH + 2.0) for part in parts), default=0.0)

    widths = [(width(one), one) for one in placed]
    found, worst = min(widths, key=lambda pair: pair[0])
    passed = found >= INLAY_WIDTH - FINE - LET
    words = "enough" if passed else "too narrow to cut and glue"
    more = " or more" if found > INLAY_WIDTH else ""
    return _geometric(
        "inlay_width",
        "error",
        passed,
        found,
        INLAY_WIDTH,
        f"The {worst.words} is {found:.0f} mm{more} wide at its narrowest, {words} ({INLAY_WIDTH:g} mm).",
    )


def _apart(placed: Sequence[PlacedInlay]) -> Check:
    """Two inlays of a layer touch or leave a wall between them."""
    worst: tuple[float, PlacedInlay, PlacedInlay] | None = None
    for n, one in enumerate(placed):
        for other in placed[n + 1 :]:
            if other.index != one.index:
                continue
            mine, its = one.inlay.region.polygon, other.inlay.region.polygon
            over = float(mine.intersection(its).area)
            gap = -over if over > SMALL else float(mine.distance(its))
            short = gap < 0 or LET < gap < INLAY_WALL - LET
            if short and (worst is None or gap < worst[0]):
                worst = gap, one, other
    if worst is None:
        words = "Inlays of one layer touch or leave a wall between them."
        return _geometric("inlays_apart", "error", True, None, INLAY_WALL, words)
    gap, one, other = worst
    found = f"overlap by {-gap:.0f} mm²" if gap < 0 else f"leave {gap:.1f} mm between them"
    return _geometric(
        "inlays_apart",
        "error",
        False,
        gap,
        INLAY_WALL,
        f"The {one.words} and the {other.words} {found}: let them touch, or leave {INLAY_WALL:g} mm.",
    )


def _under_ulcers(
    placed: Sequence[PlacedInlay], lesions: Sequence[LesionSpec], openings: Sequence[Opening]
) -> Iterator[Check]:
    """Each inlay under an ulcer is named; a seam under one more loudly."""
    for one in placed:
        region = shapely.union_all(piece_of(one, openings))
        under = [each for each in lesions if region.intersection(each.outline.polygon).area > SMALL]
        if not under:
            continue
        labels = ", ".join(each.label for each in under)
        seam = [each.label for each in under if not region.contains(each.outline.polygon)]
        message = f"The {one.words} lies under ulcer {labels}."
        if seam:
            message += f" Its seam runs under ulcer {', '.join(seam)}: an edge of foam may press there."
        yield _geometric("inlay_under_ulcer", "warn" if seam else "note", False, labels, "no inlay", message)
