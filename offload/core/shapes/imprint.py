"""From a photographed insole to the anatomical frame: by three landmarks, or by the outline of the insole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from offload.core.errors import ReliefError
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Point, Ring

__all__ = ["ImprintError", "PlacedImprint", "Placing", "place_by_landmarks", "place_by_outline"]

Array = NDArray[np.float64]

MOST_STRETCH = 0.12  # of the distance heel to second toe between photo and record; design choice
LARGEST_MISFIT = 6.0  # [mm] rms of a traced insole's edge off the drawn one; design choice
MIRROR_MARGIN = 0.85  # a mirrored outline that fits this much better is the other side; design choice
BESIDE = 3.0  # [mm] how far on the wrong side of the heel-toe line the big toe must lie to be a mix-up
TRIED = 24  # directions from which the outline's fit starts


class ImprintError(ReliefError):
    """An imprint cannot be laid on the insole with the marks given, or it seems to be the other foot's."""


@dataclass(frozen=True)
class Placing:
    """A rigid map from the photo's plane to the insole.

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
        How badly the marks agree: distance left at the second mark, or rms of the outlines. [mm]
    """

    turn: float
    mirrored: bool
    shift: Point
    misfit: float

    def to_insole(self, points: Sequence[Point]) -> Ring:
        """Points of the photo's plane in the anatomical frame. [mm]"""
        x, y = _moved(np.asarray(points, dtype=float), self.turn, self.mirrored, np.array(self.shift)).T
        return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


@dataclass(frozen=True)
class PlacedImprint:
    """An imprint on the insole, and how it was laid there."""

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
    ImprintError
        If the distance heel to toe is not that of this foot, or the big toe lies on the side of the other
        foot.

    Notes
    -----
    Millimetres are kept: the photo is to scale already, so the map is a turn, a shift and, for a right foot,
    the mirror from y-down to y-up. Heel and second toe carry the long axis of the foot; the difference of
    their distance is shared between both ends.
    """
    ends = np.array([heel, second_toe, big_toe], dtype=float)
    target_heel, target_toe = (0.0, 0.0), _second_toe(insole)
    seen = float(np.hypot(*(ends[1] - ends[0])))
    true = math.hypot(target_toe[0] - target_heel[0], target_toe[1] - target_heel[1])
    if seen < 1.0 or abs(seen / true - 1.0) > MOST_STRETCH:
        raise ImprintError(
            f"heel to second toe is {seen:.0f} mm in the photo and {true:.0f} mm on the insole drawn for "
            "this foot; the limit "
            f"is a difference of {MOST_STRETCH:.0%}: check the marks, the scale and whose insole it is"
        )
    mirrored = side == "right"
    flipped = _y_up(ends, mirrored)
    along = flipped[1] - flipped[0]
    wanted = math.atan2(target_toe[1] - target_heel[1], target_toe[0] - target_heel[0])
    turn = wanted - math.atan2(along[1], along[0])
    turned = _rotated(flipped, turn)
    centre = (turned[0] + turned[1]) / 2
    shift = np.array([(a + b) / 2 for a, b in zip(target_heel, target_toe, strict=True)]) - centre
    toe = turned[2] + shift
    axis = target_toe[0] * toe[1] / target_toe[1]
    if toe[0] - axis > BESIDE:
        raise ImprintError(
            f"the big toe lies {toe[0] - axis:.0f} mm to the little-toe side of a {side} foot; the limit is "
            "its inner side: "
            "is this the other foot's insole, or is its underside up"
        )
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
    ImprintError
        If it fits badly, or clearly better as an insole of the other side.

    Notes
    -----
    Least squares over turn and shift of the distances from points of the traced outline to the drawn one,
    started from many directions since an insole is nearly symmetric end to end; tried for this side and for
    the other.
    """
    points = _evenly(np.asarray(traced, dtype=float), 120)
    drawn = _evenly(np.asarray(insole.outline.exterior), 400)
    own = _best_fit(points, drawn, side == "right")
    other = _best_fit(points, drawn, side != "right")
    if other.misfit < MIRROR_MARGIN * own.misfit and own.misfit > 1.0:
        wrong = "left" if side == "right" else "right"
        raise ImprintError(
            f"the outline fits a {wrong} insole ({other.misfit:.1f} mm) better than a {side} one "
            f"({own.misfit:.1f} mm); "
            "the limit is the recorded side: is this the other foot's insole, or is its underside up"
        )
    if own.misfit > LARGEST_MISFIT:
        raise ImprintError(
            f"the outline misses the insole drawn for this foot by {own.misfit:.1f} mm (rms); the limit is "
            f"{LARGEST_MISFIT:g} mm: trace the insole again, or place it by landmarks"
        )
    return own


def _best_fit(points: Array, drawn: Array, mirrored: bool) -> Placing:
    flipped = _y_up(points, mirrored)
    middle, target = flipped.mean(axis=0), drawn.mean(axis=0)
    centred = flipped - middle

    def misses(pose: Array) -> Array:
        moved = _rotated(centred, pose[0]) + target + pose[1:]
        away = np.hypot(moved[:, None, 0] - drawn[None, :, 0], moved[:, None, 1] - drawn[None, :, 1])
        return away.min(axis=1)

    starts = np.linspace(0.0, 2.0 * math.pi, TRIED, endpoint=False)
    ranked = sorted(starts, key=lambda turn: float(np.sum(misses(np.array([turn, 0.0, 0.0])) ** 2)))
    fits = [least_squares(misses, np.array([turn, 0.0, 0.0])) for turn in ranked[:3]]
    best = min(fits, key=lambda fit: float(fit.cost))
    turn, shift = float(best.x[0]), target + best.x[1:] - _rotated(middle[None, :], float(best.x[0]))[0]
    misfit = math.sqrt(2.0 * float(best.cost) / len(points))
    return Placing(turn, mirrored, (float(shift[0]), float(shift[1])), misfit)


def _y_up(points: Array, mirrored: bool) -> Array:
    """A y-down picture with toes up as x lateral, y distal: a right foot's lateral side is the right of
    the picture.
    """
    return points * ((1.0, -1.0) if mirrored else (-1.0, -1.0))


def _moved(points: Array, turn: float, mirrored: bool, shift: Array) -> Array:
    flipped = _y_up(points, mirrored)
    return _rotated(flipped, turn) + shift


def _rotated(points: Array, turn: float) -> Array:
    c, s = math.cos(turn), math.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def _second_toe(insole: Insole) -> Point:
    """Where the second toe's line leaves the front edge of the insole."""
    places = {mark.name: mark.at for mark in insole.landmarks}
    across = places["toe_2"][0]
    ring = np.asarray(insole.outline.exterior)
    ahead = ring[ring[:, 1] > insole.foot_length / 2]
    order = np.argsort(ahead[:, 0])
    return across, float(np.interp(across, ahead[order, 0], ahead[order, 1]))


def _evenly(ring: Array, count: int) -> Array:
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0.0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in range(2)])
