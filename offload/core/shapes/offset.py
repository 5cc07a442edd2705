"""Offsets, sweeps and rounding of polygons: the plane geometry under a relief opening."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = [
    "QUARTER_STEPS",
    "bevel_growth",
    "dilate",
    "erode",
    "filled",
    "is_convex",
    "largest_part",
    "parts_of",
    "round_concave",
    "sweep",
    "swept_margin",
    "tidy",
]

QUARTER_STEPS = 64  # arc steps of a quarter circle: a disc is 0.01 % small
NOTHING = 1e-9  # [mm] a buffer of much less comes back empty for some outlines
TIDY = 0.0002  # [mm] points nearer than this to the line between their neighbours are dropped


def bevel_growth(thickness: float, bevel: float) -> float:
    """How far a bevelled wall widens over a thickness, t / tan(angle). [mm]

    Parameters
    ----------
    thickness : float
        [mm]
    bevel : float
        Angle of the wall to the surface, above 0 and up to 90. [deg]

    Examples
    --------
    >>> from offload.core.shapes.offset import bevel_growth
    >>> round(bevel_growth(thickness=6.0, bevel=45.0), 2)
    6.0
    """
    return 0.0 if bevel >= 90.0 else thickness / math.tan(math.radians(bevel))


def dilate(polygon: Polygon, radius: float, steps: int = QUARTER_STEPS) -> Polygon:
    """Minkowski sum with a disc, holes filled.

    Notes
    -----
    For a convex outline the area becomes A + P·r + π·r² (Steiner's formula).
    """
    if radius <= NOTHING:
        return filled(polygon)
    grown = polygon.buffer(radius, quad_segs=steps)
    return tidy(grown)


def erode(polygon: Polygon, radius: float) -> list[Polygon]:
    """Parts left when every point nearer than the radius to the outside is taken away; none if it
    vanishes.
    """
    if radius <= NOTHING:
        return [polygon]
    return parts_of(polygon.buffer(-radius, quad_segs=QUARTER_STEPS))


def sweep(polygon: Polygon, dx: float, dy: float) -> Polygon:
    """Area passed over when the polygon moves along a straight segment, holes filled.

    Notes
    -----
    The union of the polygon, its translate and the parallelogram of each edge; exact for any simple polygon.
    For a convex one it is the convex hull of both ends.
    """
    polygon = filled(polygon)
    if dx == 0.0 and dy == 0.0:
        return polygon
    moved = translate(polygon, dx, dy)
    if is_convex(polygon):
        return polygon.union(moved).convex_hull
    ring = np.asarray(polygon.exterior.coords)
    quads = []
    for (ax, ay), (bx, by) in zip(ring[:-1], ring[1:], strict=True):
        if abs((bx - ax) * dy - (by - ay) * dx) > 1e-12:
            quads.append(Polygon([(ax, ay), (bx, by), (bx + dx, by + dy), (ax + dx, ay + dy)]))
    swept = shapely.union_all([polygon, moved, *quads])
    return filled(largest_part(swept))


def swept_margin(lesion: Polygon, margin: float, distal_margin: float, steps: int = QUARTER_STEPS) -> Polygon:
    """Lesion grown by the margin all round and by the distal margin towards the toes.

    Parameters
    ----------
    lesion : Polygon
        [mm]
    margin, distal_margin : float
        The distal margin is at least the margin. [mm]
    steps : int
        Arc steps of a quarter circle.

    Returns
    -------
    Polygon
        lesion ⊕ disc(margin) ⊕ segment(0 → (distal − margin)·ŷ). [mm]

    Notes
    -----
    For a convex lesion of breadth W across the axis the area is A + P·m + π·m² + (d − m)·(W + 2m)
    (Steiner's formula and Cavalieri's principle).
    """
    return dilate(sweep(lesion, 0.0, distal_margin - margin), margin, steps)


def round_concave(polygon: Polygon, radius: float) -> Polygon:
    """Fill concave corners so that a round blade of this radius follows the outline; convex ones stay."""
    if radius <= 0.0 or is_convex(polygon):
        return polygon
    closed = polygon.buffer(radius, quad_segs=QUARTER_STEPS).buffer(-radius, quad_segs=QUARTER_STEPS)
    # The union restores what the arcs' chords shaved off convex corners.
    return tidy(largest_part(closed.union(polygon)))


def is_convex(polygon: Polygon) -> bool:
    """Whether the outer ring is convex within rounding."""
    whole = filled(polygon)
    return bool(whole.convex_hull.area - whole.area <= 1e-7 * whole.area)


def filled(polygon: Polygon) -> Polygon:
    """The polygon without its holes."""
    whole: Polygon = shapely.polygons(polygon.exterior)
    return whole


def tidy(polygon: Polygon) -> Polygon:
    """The polygon without its holes and without points that stand on the line between their neighbours."""
    whole = filled(polygon)
    quick = whole.simplify(TIDY, preserve_topology=False)
    return (
        quick
        if isinstance(quick, Polygon) and quick.is_valid and not quick.is_empty
        else whole.simplify(TIDY)
    )


def parts_of(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a geometry, largest first; lines and points are dropped."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    found = [part for part in getattr(shape, "geoms", ()) if isinstance(part, Polygon) and part.area > 1e-9]
    return sorted(found, key=lambda part: (-part.area, part.bounds))


def largest_part(shape: BaseGeometry) -> Polygon:
    """The largest polygon of a geometry."""
    return parts_of(shape)[0]
