"""Where the skin is looked at after a cut: the places that the estimate loads more, each with a name."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from offload.core.plan.compute import ComputedPlan
from offload.core.plan.report import PressureField
from offload.core.plan.trial import RIM_MM
from offload.core.pressure.limits import pressure_limits
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Point

__all__ = ["KINDS", "LoadedPlace", "spot_words", "watch_points"]

Array = NDArray[np.float64]

KINDS = ("rim", "head", "spot")
QUARTERS = {
    "distal": "toe side",
    "proximal": "heel side",
    "medial": "big toe side",
    "lateral": "little toe side",
}
HEAD_RADIUS = 8.0
"""Cells within this distance of a metatarsal head are its own [mm]; design choice."""
NEIGHBOUR = 35.0
"""Heads farther than this from the opening are no neighbours [mm]; design choice."""
APART = 15.0
"""Places closer than this to one already named are not named again [mm]; design choice."""
MOST_SPOTS = 3
ORDINALS = {"1": "first", "2": "second", "3": "third", "4": "fourth", "5": "fifth"}


@dataclass(frozen=True, slots=True)
class LoadedPlace:
    """One place to look at, and why.

    Attributes
    ----------
    kind : str
        ``rim`` (the quarter of an opening's rim with the highest estimate), ``head`` (a metatarsal head
        beside the opening) or ``spot`` (any other place over the pressure at which regions are looked at).
    words : str
        Its name in words.
    at : Point
        Where the estimate peaks there, in the anatomical frame [mm].
    before_kpa, after_kpa : float
        Peak there before and after the cut, at central tissue [kPa].
    """

    kind: str
    words: str
    at: Point
    before_kpa: float
    after_kpa: float


def watch_points(plan: ComputedPlan, fields: Sequence[PressureField]) -> tuple[LoadedPlace, ...]:
    """Places that the next visits ask for by name.

    Parameters
    ----------
    plan : ComputedPlan
        With its openings.
    fields : sequence of PressureField
        Of the plan's load cases; a place is judged in the case that loads it most.

    Returns
    -------
    tuple of LoadedPlace
        First one quarter of the rim of each opening, then the heads beside it, then spots over the limit. A
        place by a landmark that is named already is not named twice.

    Notes
    -----
    Quarters are told apart by the direction from the opening's centroid: distal and proximal within 45° of
    the foot's axis, medial and lateral beside it. The rim is 10 mm wide. All distances are design choices.
    """
    found: list[LoadedPlace] = []
    for opening in plan.openings:
        rims = [
            point
            for field in fields
            for point in _rim(opening.opening.polygon, field, ", ".join(opening.labels))
        ]
        if rims:
            worst = max(rims, key=lambda point: point.after_kpa)
            head = _head_at(plan.insole, worst.at)
            found.append(replace(worst, words=f"{worst.words}, by the {head}") if head else worst)
    cut = shapely.union_all([opening.opening.polygon for opening in plan.openings])
    found += [
        head
        for head in _heads(plan.insole, cut, fields)
        if all(head.words.lower() not in rim.words for rim in found)
    ]
    found += _spots(plan.insole, cut, fields, found)
    return tuple(found)


def spot_words() -> str:
    """What puts a spot on the list, in words."""
    return f"Over {pressure_limits().peak_elsewhere:g} kPa in the estimate"


def _head_at(insole: Insole, at: Point) -> str:
    """The metatarsal head within whose reach a point lies, in words; else nothing."""
    heads = [mark for mark in insole.landmarks if mark.name.startswith("metatarsal_head_")]
    near = min(heads, key=lambda mark: math.dist(mark.at, at))
    return _name(near.name) if math.dist(near.at, at) <= HEAD_RADIUS else ""


def _grid(field: PressureField) -> tuple[Array, Array]:
    x, y = np.meshgrid(field.x, field.y)
    return x, y


def _rim(cut: shapely.Polygon, field: PressureField, labels: str) -> Iterable[LoadedPlace]:
    x, y = _grid(field)
    apart = shapely.distance(cut, shapely.points(x, y))
    rim = (apart > 0) & (apart <= RIM_MM) & (field.before_kpa > 0)
    if rim.any():
        at = _peak(field, rim)
        side = _quarter(at[0] - cut.centroid.x, at[1] - cut.centroid.y)
        yield _point("rim", f"Edge of the opening under {labels}, {QUARTERS[side]}", field, at)


def _quarter(dx: float, dy: float) -> str:
    if abs(dy) >= abs(dx):
        return "distal" if dy > 0 else "proximal"
    return "lateral" if dx > 0 else "medial"


def _heads(insole: Insole, cut: shapely.Geometry, fields: Sequence[PressureField]) -> list[LoadedPlace]:
    """The nearest head on either side of the cut, where it lies outside and is loaded."""
    sides: dict[bool, tuple[float, str, Point]] = {}
    for mark in insole.landmarks:
        if not mark.name.startswith("metatarsal_head_"):
            continue
        apart = float(shapely.distance(cut, shapely.Point(mark.at)))
        side = mark.at[0] > cut.centroid.x
        if 0.0 < apart <= NEIGHBOUR and (side not in sides or apart < sides[side][0]):
            sides[side] = (apart, mark.name, mark.at)
    found = []
    for _, name, place in sorted(sides.values()):
        peaks = []
        for field in fields:
            x, y = _grid(field)
            own = (np.hypot(x - place[0], y - place[1]) <= HEAD_RADIUS) & (field.before_kpa > 0)
            own &= ~shapely.contains_xy(cut, x, y)
            if own.any():
                peaks.append(_point("head", _name(name).capitalize(), field, _peak(field, own)))
        if peaks:
            found.append(max(peaks, key=lambda point: point.after_kpa))
    return found


def _spots(
    insole: Insole,
    cut: shapely.Geometry,
    fields: Sequence[PressureField],
    named: Sequence[LoadedPlace],
) -> list[LoadedPlace]:
    limit = pressure_limits().peak_elsewhere
    found: list[LoadedPlace] = []
    for field in fields:
        x, y = _grid(field)
        left = (field.after_kpa > limit) & ~shapely.contains_xy(cut, x, y)
        for point in (*named, *found):
            left &= np.hypot(x - point.at[0], y - point.at[1]) > APART
        while left.any() and len(found) < MOST_SPOTS:
            at = _peak(field, left)
            near = min(insole.landmarks, key=lambda mark: math.dist(mark.at, at))
            name = _name(near.name)
            if all(name not in point.words.lower() for point in (*named, *found)):
                words = f"{spot_words()}, by the {name}"
                found.append(_point("spot", words, field, at))
            left &= np.hypot(x - at[0], y - at[1]) > APART
    return found


def _peak(field: PressureField, cells: NDArray[np.bool_]) -> Point:
    row, column = np.unravel_index(np.argmax(np.where(cells, field.after_kpa, -1.0)), cells.shape)
    return float(field.x[column]), float(field.y[row])


def _point(kind: str, words: str, field: PressureField, at: Point) -> LoadedPlace:
    row, column = int(np.argmin(abs(field.y - at[1]))), int(np.argmin(abs(field.x - at[0])))
    return LoadedPlace(
        kind, words, at, float(field.before_kpa[row, column]), float(field.after_kpa[row, column])
    )


def _name(landmark: str) -> str:
    """A landmark's name in words, such as third metatarsal head."""
    if landmark.startswith("metatarsal_head_"):
        return f"{ORDINALS[landmark[-1]]} metatarsal head"
    if landmark.startswith("toe_"):
        return f"{ORDINALS[landmark[-1]]} toe"
    return {"hallux": "big toe", "heel": "heel"}.get(landmark, landmark.replace("_", " "))
