"""The pose in which a traced edge of an insole meets a drawn one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from offload.core.shapes.outline import Point

__all__ = ["EdgeFit", "best_fit", "evenly", "rotated", "y_up"]

Array = NDArray[np.float64]

TRIED = 24  # directions from which the outline's fit starts
HEEL_SHARE = 0.05  # of the length, over which the heel edge is averaged; design choice


@dataclass(frozen=True)
class EdgeFit:
    """A turn [rad], a mirror and a shift [mm] from the photo's plane to the insole, the misfit left over
    (rms) [mm], and by what the drawn edge was stretched across and along [-].
    """

    turn: float
    mirrored: bool
    shift: Point
    misfit: float
    stretch: Point


def best_fit(points: Array, drawn: Array, mirrored: bool, stretched: bool) -> EdgeFit:
    """Turn and shift of a traced edge that bring it on a drawn one.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        The traced edge. [mm in the photo's plane, y down]
    drawn : ndarray, shape (m, 2)
        The drawn edge in the anatomical frame, its heel edge at the origin. [mm]
    mirrored : bool
        Whether the photo's sideways axis is lateral as it stands, as for a right foot.
    stretched : bool
        Whether the drawn edge is stretched about its heel, along and across, while it is fitted; the heel
        edges are then brought together at the end.

    Returns
    -------
    EdgeFit
    """
    from scipy.optimize import least_squares  # slow to import: only a process that fits pays for it

    flipped = y_up(points, mirrored)
    middle = flipped.mean(axis=0)
    centred = flipped - middle
    edge = np.roll(drawn, -1, axis=0) - np.roll(drawn, 1, axis=0)
    normal = np.column_stack([edge[:, 1], -edge[:, 0]])

    def misses(pose: Array) -> Array:
        scale = np.exp(pose[3:]) if stretched else np.ones(2)
        ring, out = drawn * scale, normal / scale
        out = out / np.hypot(*out.T)[:, None]
        moved = rotated(centred, pose[0]) + ring.mean(axis=0) + pose[1:3]
        gap = moved[:, None, :] - ring[None, :, :]
        near = np.argmin(gap[..., 0] ** 2 + gap[..., 1] ** 2, axis=1)
        return np.einsum("ij,ij->i", gap[np.arange(len(moved)), near], out[near])

    start = np.zeros(5 if stretched else 3)
    if stretched:
        size = _reach(points) / _reach(drawn)
        start[3:] = math.log(size)
    starts = [start + np.eye(len(start))[0] * turn for turn in np.linspace(0, 2 * math.pi, TRIED, False)]
    ranked = sorted(starts, key=lambda pose: float(np.sum(misses(pose) ** 2)))
    fits = [least_squares(misses, pose, max_nfev=40) for pose in ranked[:4]]
    best = min(fits, key=lambda fit: float(fit.cost))
    pose = best.x
    scale = np.exp(pose[3:]) if stretched else np.ones(2)
    turned = rotated(flipped, float(pose[0]))
    shift = (drawn * scale).mean(axis=0) + pose[1:3] - rotated(middle[None, :], float(pose[0]))[0]
    placed = turned + shift
    if stretched:
        # The heel edge itself is the anchor, not what the fit of the whole makes of it.
        length = float(np.ptp(drawn[:, 1]))
        shift = shift - (0.0, _heel_edge(placed, length) - _heel_edge(drawn, length))
    misfit = math.sqrt(2.0 * float(best.cost) / len(points))
    where, stretch = (float(shift[0]), float(shift[1])), (float(scale[0]), float(scale[1]))
    return EdgeFit(float(pose[0]), mirrored, where, misfit, stretch)


def _heel_edge(ring: Array, length: float) -> float:
    """Mean y of the heel edge of a ring, about the long axis. [mm]"""
    dense = evenly(ring, 600)
    rear = dense[(np.abs(dense[:, 0]) < HEEL_SHARE * length) & (dense[:, 1] < np.median(dense[:, 1]))]
    return float(rear[:, 1].mean())


def _reach(ring: Array) -> float:
    """Largest distance from the middle. [mm]"""
    return float(np.hypot(*(ring - ring.mean(axis=0)).T).max())


def y_up(points: Array, mirrored: bool) -> Array:
    """A y-down picture with toes up as x lateral, y distal: a right foot's lateral side is the right of
    the picture.
    """
    return points * ((1.0, -1.0) if mirrored else (-1.0, -1.0))


def rotated(points: Array, turn: float) -> Array:
    """Points turned counter-clockwise about the origin by an angle [rad]."""
    c, s = math.cos(turn), math.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def evenly(ring: Array, count: int) -> Array:
    """So many points of a closed ring at equal distances along it."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0.0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in range(2)])
