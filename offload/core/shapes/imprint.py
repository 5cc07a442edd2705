"""From a photographed insole to the anatomical frame: by landmarks, by printed holes, or by its own edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from offload.core.errors import ReliefError
from offload.core.shapes.edge_fit import best_fit, evenly, rotated, y_up
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Outline, Point, Ring

__all__ = [
    "HOLES",
    "LARGEST_HOLE_MISFIT",
    "LARGEST_LENGTH_OFF",
    "LARGEST_MISFIT",
    "ImprintError",
    "LengthError",
    "Placing",
    "RealInsole",
    "checked_outline",
    "place_by_holes",
    "place_by_landmarks",
    "place_by_outline",
    "real_insole",
]

Array = NDArray[np.float64]

HOLES = ((0.0, 20.0), (0.0, 120.0))
"""Alignment holes of the printed sheets, on the long axis, from the heel edge [mm]; design choice."""
LARGEST_LENGTH_OFF = 5.0
"""A longer or shorter insole than the drawn one asks for its own outline [mm]; the usual margin of a cut."""
LARGEST_MISFIT = 3.0  # [mm] rms of a traced edge off the insole's own outline; design choice
LARGEST_DEPARTURE = 4.0  # [mm] rms of a traced edge off any insole of its length and breadth; design choice
LARGEST_HOLE_MISFIT = 3.0  # [mm] between the holes, as seen and as printed; design choice
LENGTHS = (0.75, 1.30)  # of the drawn insole's length that a real one may have; design choice
BREADTHS = (0.70, 1.40)  # of the drawn insole's breadth
LARGEST_HEEL_OFF = 3.0  # [mm] of an outline read off the grid from its heel line; design choice
MIRROR_MARGIN = 0.85  # a mirrored outline that fits this much better is the other side; design choice
BESIDE = 3.0  # [mm] how far on the wrong side of the heel-toe line the big toe must lie to be a mix-up


class ImprintError(ReliefError):
    """An imprint cannot be laid on the insole with the marks given, or it seems to be the other foot's."""


class LengthError(ImprintError):
    """The photographed insole is not of the drawn length: its own outline is wanted first."""


@dataclass(frozen=True)
class Placing:
    """A rigid map from the photo's plane to the insole; it turns and shifts, and never stretches.

    Parameters
    ----------
    turn : float
        [rad]
    mirrored : bool
        Whether the photo's sideways axis is turned round (y runs down in a photo, and a left foot's x to the
        left).
    shift : (float, float)
        [mm]
    misfit : float
        How badly the marks agree: distance left over between two marks, or rms of the traced edge. [mm]
    length_off : float
        Length of the photographed insole less that of the drawn one. [mm]
    """

    turn: float
    mirrored: bool
    shift: Point
    misfit: float
    length_off: float = 0.0

    def to_insole(self, points: Sequence[Point]) -> Ring:
        """Points of the photo's plane in the anatomical frame. [mm]"""
        x, y = _moved(np.asarray(points, dtype=float), self.turn, self.mirrored, np.array(self.shift)).T
        return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))

    def to_photo(self, points: Sequence[Point]) -> Ring:
        """Points of the anatomical frame in the photo's plane, y down: to draw the insole over it. [mm]"""
        back = rotated(np.asarray(points, dtype=float) - np.array(self.shift), -self.turn)
        x, y = y_up(back, self.mirrored).T
        return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


@dataclass(frozen=True)
class RealInsole:
    """The edge of a real insole in the anatomical frame, and how its photograph was laid there."""

    outline: Ring
    placing: Placing


def place_by_landmarks(insole: Insole, side: str, heel: Point, second_toe: Point, big_toe: Point) -> Placing:
    """Lay a photo of an insole, foot side up, on the insole by its heel and the line of the second toe.

    Parameters
    ----------
    insole : Insole
        The limb's insole.
    side : str
        ``left`` or ``right``, as recorded.
    heel : point
        Middle of the insole's heel edge. [mm in the photo's plane, y down]
    second_toe : point
        Front edge of the insole, in line with the second toe. [mm in the photo's plane]
    big_toe : point
        Print of the big toe; it tells left from right. [mm in the photo's plane]

    Returns
    -------
    Placing

    Raises
    ------
    LengthError
        If the insole is longer or shorter than the one drawn by more than the limit.
    ImprintError
        If the big toe lies on the side of the other foot.

    Notes
    -----
    Millimetres are kept: the photo is to scale already, so the map is a turn, a shift and, for a right foot,
    the mirror from y-down to y-up. The heel edge is the anchor, since the foot's heel lies there whatever the
    insole's length; the second toe gives the direction alone.
    """
    ends = np.array([heel, second_toe, big_toe], dtype=float)
    target = _second_toe(insole)
    mirrored = side == "right"
    flipped = y_up(ends, mirrored)
    along = flipped[1] - flipped[0]
    seen = float(np.hypot(*along))
    true = math.hypot(*target)
    _refuse_length(seen - true, "heel to second toe", seen, true, insole.traced)
    wanted = math.acos(max(-1.0, min(1.0, target[0] / seen)))
    turn = wanted - math.atan2(along[1], along[0])
    turned = rotated(flipped, turn)
    shift = -turned[0]
    toe = turned[2] + shift
    front = turned[1] + shift
    axis = front[0] * toe[1] / front[1]
    _refuse_other_foot(float(toe[0] - axis), side)
    return Placing(turn, mirrored, (float(shift[0]), float(shift[1])), abs(seen - true), seen - true)


def place_by_holes(side: str, rear: Point, front: Point, big_toe: Point) -> Placing:
    """Lay a photo of an insole, foot side up, on the insole by the two holes marked through a printed sheet.

    Parameters
    ----------
    side : str
        ``left`` or ``right``, as recorded.
    rear, front : point
        The marks of the holes nearer the heel and nearer the toes. [mm in the photo's plane, y down]
    big_toe : point
        Print of the big toe; it tells left from right. [mm in the photo's plane]

    Returns
    -------
    Placing

    Raises
    ------
    ImprintError
        If the marks are not as far apart as the holes, or the big toe lies on the side of the other foot.

    Examples
    --------
    >>> from offload.core.shapes.imprint import place_by_holes
    >>> placed = place_by_holes("right", (50.0, 300.0), (50.0, 200.0), (25.0, 90.0))
    >>> [round(v, 6) + 0.0 for v in placed.to_insole([(60.0, 120.0)])[0]]
    [10.0, 200.0]
    """
    mirrored = side == "right"
    flipped = y_up(np.array([rear, front, big_toe], dtype=float), mirrored)
    printed = np.array(HOLES)
    between = flipped[1] - flipped[0]
    seen, true = float(np.hypot(*between)), float(np.hypot(*(printed[1] - printed[0])))
    if abs(seen - true) > LARGEST_HOLE_MISFIT:
        raise ImprintError(
            f"the two holes are {seen:.1f} mm apart in the photo and {true:g} mm on the sheet; the limit is "
            f"a difference of {LARGEST_HOLE_MISFIT:g} mm: check the marks, the scale and the sheet's print"
        )
    turn = math.pi / 2 - math.atan2(between[1], between[0])
    turned = rotated(flipped, turn)
    shift = printed.mean(axis=0) - turned[:2].mean(axis=0)
    _refuse_other_foot(float(turned[2, 0] + shift[0]), side)
    return Placing(turn, mirrored, (float(shift[0]), float(shift[1])), abs(seen - true))


def place_by_outline(insole: Insole, side: str, traced: Sequence[Point]) -> Placing:
    """Lay a photo of an insole, foot side up, on the insole by its traced outline.

    Parameters
    ----------
    insole : Insole
        The limb's insole.
    side : str
        ``left`` or ``right``, as recorded.
    traced : sequence of points
        Outline of the insole. [mm in the photo's plane, y down]

    Returns
    -------
    Placing

    Raises
    ------
    LengthError
        If the insole is longer or shorter than the one drawn by more than the limit.
    ImprintError
        If it fits badly, or clearly better as an insole of the other side.

    Notes
    -----
    Least squares of the distances from points of the traced edge to the drawn one, started from many
    directions since an insole is nearly symmetric end to end; tried for this side and for the other. An
    insole that is only drawn is stretched along and across while it is fitted, so that a difference in
    length or breadth turns nothing; the *print* is never stretched, and lies at its own distance from the
    heel edge.
    """
    placing = _fit_of_side(insole, side, traced, stretched=not insole.traced)
    if insole.traced:
        if placing.misfit > LARGEST_MISFIT:
            raise ImprintError(
                f"the edge misses this insole's own outline by {placing.misfit:.1f} mm (rms); the limit is "
                f"{LARGEST_MISFIT:g} mm: trace the edge again, or keep the outline of the insole that is worn"
            )
        return placing
    length = insole.outline.bounds[3]
    _refuse_length(placing.length_off, "the insole", length + placing.length_off, length, False)
    return placing


def real_insole(insole: Insole, side: str, traced: Sequence[Point]) -> RealInsole:
    """The outline of a real insole in the anatomical frame, from its traced edge.

    Parameters
    ----------
    insole : Insole
        The insole drawn for the foot: it tells which end is the heel and where the long axis runs.
    side : str
        ``left`` or ``right``, as recorded.
    traced : sequence of points
        Edge of the insole, foot side up. [mm in the photo's plane, y down]

    Returns
    -------
    RealInsole

    Raises
    ------
    ImprintError
        If it is no insole of a plausible length and breadth for this foot, or fits the other side better.
    """
    placing = _fit_of_side(insole, side, traced, stretched=True)
    return RealInsole(placing.to_insole(traced), placing)


def checked_outline(insole: Insole, ring: Sequence[Point]) -> Ring:
    """An outline read off the printed grid, checked against the insole drawn for the foot.

    Parameters
    ----------
    insole : Insole
        The insole drawn for the foot.
    ring : sequence of points
        From the long axis towards the little toe, and from the heel edge. [mm]

    Returns
    -------
    Ring
        With its heel edge at 0 exactly. [mm]

    Raises
    ------
    ImprintError
        If it does not begin at the heel edge, is not about the long axis, or has no plausible length or
        breadth for this foot.
    """
    outline = Outline(tuple((float(x), float(y)) for x, y in ring), name="outline of the insole")
    left, heel, right, front = outline.bounds
    if abs(heel) > LARGEST_HEEL_OFF:
        raise ImprintError(
            f"the outline begins {heel:.1f} mm from the heel line; the limit is {LARGEST_HEEL_OFF:g} mm: lay "
            "the insole's heel edge on the line and read the points again"
        )
    x0, _, x1, y1 = insole.outline.bounds
    _refuse_size((right - left) / (x1 - x0), (front - heel) / y1)
    rear = np.asarray(outline.exterior)
    rear = rear[rear[:, 1] < heel + insole.foot_length * 0.25]
    if not rear[:, 0].min() < 0.0 < rear[:, 0].max():
        raise ImprintError(
            "the heel does not lie on both sides of the long axis; the limit is a heel about it: is the "
            "insole laid beside the line"
        )
    return tuple((x, y - heel) for x, y in outline.exterior)


def _refuse_size(across: float, along: float) -> None:
    """An insole may be longer or broader than the drawn one, within bounds."""
    if BREADTHS[0] <= across <= BREADTHS[1] and LENGTHS[0] <= along <= LENGTHS[1]:
        return
    raise ImprintError(
        f"the outline is {along:.2f} of the drawn insole's length and {across:.2f} of its breadth; the "
        f"limits are {LENGTHS[0]:g} to {LENGTHS[1]:g} and {BREADTHS[0]:g} to {BREADTHS[1]:g}: check the "
        "scale, the trace and whose insole it is"
    )


def _fit_of_side(insole: Insole, side: str, traced: Sequence[Point], *, stretched: bool) -> Placing:
    """The best fit as an insole of the recorded side; refused when it is none, or the other side's."""
    points = evenly(np.asarray(traced, dtype=float), 120)
    drawn = evenly(np.asarray(insole.outline.exterior), 400)
    own = best_fit(points, drawn, side == "right", stretched)
    other = best_fit(points, drawn, side != "right", stretched)
    if other.misfit < MIRROR_MARGIN * own.misfit and own.misfit > 1.0:
        wrong = "left" if side == "right" else "right"
        raise ImprintError(
            f"the outline fits a {wrong} insole ({other.misfit:.1f} mm) better than a {side} one "
            f"({own.misfit:.1f} mm); "
            "the limit is the recorded side: is this the other foot's insole, or is its underside up"
        )
    across, along = own.stretch
    _refuse_size(across, along)
    if stretched and own.misfit > LARGEST_DEPARTURE:
        raise ImprintError(
            f"the outline misses the insole drawn for this foot, brought to its length and breadth, by "
            f"{own.misfit:.1f} mm (rms); the limit is {LARGEST_DEPARTURE:g} mm: trace the insole "
            "again, or place it by landmarks"
        )
    off = insole.outline.bounds[3] * (along - 1.0)
    return Placing(own.turn, own.mirrored, own.shift, own.misfit, off)


def _refuse_length(off: float, what: str, seen: float, true: float, traced: bool) -> None:
    if abs(off) <= LARGEST_LENGTH_OFF:
        return
    which = "in this insole's own outline" if traced else "on the insole drawn for this foot"
    raise LengthError(
        f"{what} is {seen:.0f} mm in the photo and {true:.0f} mm {which}, {abs(off):.0f} mm "
        f"{'longer' if off > 0 else 'shorter'}; the limit is {LARGEST_LENGTH_OFF:g} mm: keep this insole's "
        "own outline first, or check the marks, the scale and whose insole it is"
    )


def _refuse_other_foot(beside: float, side: str) -> None:
    """A big toe on the little-toe side of the axis is the other foot's."""
    if beside > BESIDE:
        raise ImprintError(
            f"the big toe lies {beside:.0f} mm to the little-toe side of a {side} foot; the limit is "
            "its inner side: "
            "is this the other foot's insole, or is its underside up"
        )


def _moved(points: Array, turn: float, mirrored: bool, shift: Array) -> Array:
    flipped = y_up(points, mirrored)
    return rotated(flipped, turn) + shift


def _second_toe(insole: Insole) -> Point:
    """Where the second toe's line leaves the front edge of the insole."""
    places = {mark.name: mark.at for mark in insole.landmarks}
    across = places["toe_2"][0]
    ring = np.asarray(insole.outline.exterior)
    ahead = ring[ring[:, 1] > insole.foot_length / 2]
    order = np.argsort(ahead[:, 0])
    return across, float(np.interp(across, ahead[order, 0], ahead[order, 1]))
