"""An outline as the numbers of an ellipse and a ring about its middle: what the bench's fields hold."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

__all__ = ["numbers_of"]

NEAR = 0.01  # share of an ellipse's area by which a ring may differ and still be called that ellipse


def numbers_of(ring: list[list[float]]) -> dict[str, Any]:
    """A ring in the anatomical frame as the fields of `ShapeForm`; a ring that is an ellipse keeps no
    outline.
    """
    polygon = Polygon(ring)
    length, width, angle = _equivalent_ellipse(polygon)
    centre = polygon.centroid
    disc = affinity.scale(shapely.Point(0, 0).buffer(1.0, quad_segs=90), width / 2, length / 2)
    ellipse = affinity.translate(affinity.rotate(disc, angle, origin=(0, 0)), centre.x, centre.y)
    if polygon.symmetric_difference(ellipse).area <= NEAR * polygon.area:
        return _fields(centre.x, centre.y, length, width, angle, "")
    angle = _direction(polygon)
    local = affinity.rotate(polygon, -angle, origin=(0, 0))
    low_x, low_y, high_x, high_y = local.bounds
    middle = affinity.rotate(shapely.Point((low_x + high_x) / 2, (low_y + high_y) / 2), angle, origin=(0, 0))
    local = affinity.translate(local, -(low_x + high_x) / 2, -(low_y + high_y) / 2)
    width, length = high_x - low_x, high_y - low_y
    drawn = json.dumps([[round(x, 2), round(y, 2)] for x, y in local.exterior.coords[:-1]])
    return _fields(middle.x, middle.y, max(length, width), width, angle, drawn)


def _fields(x: float, y: float, length: float, width: float, angle: float, outline: str) -> dict[str, Any]:
    numbers = {"x_mm": x, "y_mm": y, "length_mm": length, "width_mm": width, "angle_deg": angle}
    return {**{name: round(value, 1) + 0.0 for name, value in numbers.items()}, "outline": outline}


def _upright(dx: float, dy: float) -> float:
    """Counter-clockwise angle from +y of an axis, -90 to 90; half a turn changes nothing. [deg]"""
    angle = (math.degrees(math.atan2(dy, dx)) - 90.0) % 180.0
    return round(angle - 180.0 if angle > 90.0 else angle, 1) + 0.0


def _equivalent_ellipse(polygon: Polygon) -> tuple[float, float, float]:
    """Length, width [mm] and angle [deg] of the ellipse with the polygon's second moments of area."""
    middle = polygon.centroid
    x, y = (np.asarray(polygon.exterior.coords) - (middle.x, middle.y)).T
    x0, x1, y0, y1 = x[:-1], x[1:], y[:-1], y[1:]
    cross = x0 * y1 - x1 * y0
    area = cross.sum() / 2.0
    xx = (cross * (x0 * x0 + x0 * x1 + x1 * x1)).sum() / 12.0
    yy = (cross * (y0 * y0 + y0 * y1 + y1 * y1)).sum() / 12.0
    xy = (cross * (x0 * y1 + 2 * x0 * y0 + 2 * x1 * y1 + x1 * y0)).sum() / 24.0
    spread, axes = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]) / area)
    width, length = (float(value) for value in 4.0 * np.sqrt(spread))
    angle = 0.0 if length - width < NEAR * length else _upright(*axes[:, 1])  # a circle has no direction
    return length, width, angle


def _direction(polygon: Polygon) -> float:
    """Direction of the longest chord. [deg]"""
    hull = np.asarray(polygon.convex_hull.exterior.coords)
    apart = hull[:, None, :] - hull[None, :, :]
    dx, dy = apart.reshape(-1, 2)[int(np.argmax((apart**2).sum(axis=2)))]
    return _upright(dx, dy)
