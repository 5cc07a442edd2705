"""How wrong an area can be that is measured on a photograph brought to scale."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from offload.core.errors import RectifyError
from offload.core.shapes.outline import Outline, Point
from offload.core.shapes.rectify import rectify

__all__ = ["LARGEST_ERROR", "MARKED_BY_HAND", "corner_noise", "rectangle_error", "ruler_error"]

MARKED_BY_HAND = 1.5  # [px] standard deviation of one coordinate of a corner set by finger; design choice
LEAST_NOISE = 0.3  # [px] below this lens and paper decide, not the marks; design choice
LARGEST_ERROR = (
    8.0  # [%] above it the scale is refused; design choice, under the 10 % taken as error of a tracing
)
DISC = 10.0  # [mm] radius of the disc whose area is tried
ORDINARY_TILT = 20.0  # [deg] of a photograph held "straight" by hand; design choice


def corner_noise(residual_px: float, points: int) -> float:
    """Standard deviation of a corner that is the crossing of two fitted edges. [px]

    Notes
    -----
    A line fitted to n points with scatter s is off by about 2·s/√n at its ends.
    """
    return max(LEAST_NOISE, 2.0 * residual_px / math.sqrt(max(points, 1)))


def rectangle_error(
    corners: Sequence[Point], size: tuple[float, float], at: Point, noise: float = MARKED_BY_HAND
) -> float:
    """Standard deviation of an area measured at one place of the picture, from the noise of the corners
    alone.

    Parameters
    ----------
    corners : sequence of 4 points
        Corners of the reference. [px]
    size : (float, float)
        Its sides. [mm]
    at : point
        Where the wound lies in the picture. [px]
    noise : float
        Standard deviation of each coordinate of a corner. [px]

    Returns
    -------
    float
        [%]

    Raises
    ------
    RectifyError
        If the corners give no map or the place lies beyond its horizon.

    Notes
    -----
    First order: σ² = Σ (∂A/∂c)²·noise² over the eight coordinates c, by central differences, for a disc of 10
    mm radius. It grows with the distance between wound and reference. Not included: lens distortion, and a
    reference that lies off the plane of the wound, which changes the area by (1 − h/D)², 3 % for 5 mm at 300
    mm.
    """
    marks = np.asarray(corners, dtype=float)
    plane = rectify(marks, size)
    (x, y) = plane.to_mm([at])[0]
    back = np.linalg.inv(np.array(plane.matrix))
    turn = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    ring = np.column_stack([x + DISC * np.cos(turn), y + DISC * np.sin(turn), np.ones(48)]) @ back.T
    seen = ring[:, :2] / ring[:, 2:]
    true = Outline(plane.to_mm(seen)).area
    variance = 0.0
    for corner in range(4):
        for axis in range(2):
            ends = []
            for sign in (-1.0, 1.0):
                moved = marks.copy()
                moved[corner, axis] += sign * 0.5
                ends.append(Outline(rectify(moved, size).to_mm(seen)).area)
            variance += ((ends[1] - ends[0]) / true * noise) ** 2
    return 100.0 * math.sqrt(variance)


def ruler_error(length: float, noise: float = MARKED_BY_HAND) -> float:
    """Error of an area scaled by two marks of a ruler. [%]

    Parameters
    ----------
    length : float
        Distance between the marks. [px]
    noise : float
        Standard deviation of each mark along the ruler. [px]

    Notes
    -----
    Two parts are added as squares: 2·√2·noise/length from the marks, and 1 − cos 20° = 6 % from a tilt that
    cannot be seen. Published, on a flexible ruler: 9.9 ± 9.3 % [1]_.

    References
    ----------
    .. [1] PMC6350543 (relative error of areas with one flexible ruler).
    """
    if length <= 0:
        raise RectifyError(f"ruler length is {length:g} px; the limit is above 0")
    marks = 2.0 * math.sqrt(2.0) * noise / length
    tilt = 1.0 - math.cos(math.radians(ORDINARY_TILT))
    return 100.0 * math.hypot(marks, tilt)
