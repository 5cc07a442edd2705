"""Checked outlines and their planimetry: area, perimeter, length and width."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon

from offload.core.errors import OutlineError

__all__ = ["Outline", "Planimetry", "Point", "Ring", "ellipse_area", "planimetry"]

Point = tuple[float, float]
Ring = tuple[Point, ...]

ELLIPSE_POINTS = 360  # the inscribed polygon misses 0.005 % of the ellipse's area
MOST_CUTS = 4_000_000  # of sides by corners in one step: 100 MB
SMALLEST_AREA = 1e-6  # [mm²] below this a ring is a line


@dataclass(frozen=True)
class Outline:
    """A simple closed ring, with holes if it has any.

    Rings are open (the last point does not repeat the first). Both are checked when the value is made, so
    an ``Outline`` in hand is always a valid polygon.

    Parameters
    ----------
    exterior : tuple of (float, float)
        Outer ring, at least three points. [mm]
    holes : tuple of rings
        Rings cut out of the exterior. [mm]
    name : str
        What the outline is called in an error message.

    Raises
    ------
    OutlineError
        If a ring has fewer than three different points, a coordinate is not a finite number, a ring crosses
        itself or another ring, or the area is zero. Nothing is repaired.
    """

    exterior: Ring
    holes: tuple[Ring, ...] = ()
    name: str = "outline"

    def __post_init__(self) -> None:
        object.__setattr__(self, "exterior", _checked_ring(self.exterior, self.name))
        holes = tuple(_checked_ring(hole, f"{self.name} hole {i + 1}") for i, hole in enumerate(self.holes))
        object.__setattr__(self, "holes", holes)
        _refuse_invalid(self.polygon, self.name)

    @classmethod
    def of_polygon(cls, polygon: Polygon, name: str = "outline") -> Outline:
        """Outline of a shapely polygon."""
        rings = [shapely.get_coordinates(ring)[:-1] for ring in (polygon.exterior, *polygon.interiors)]
        return cls(rings[0], tuple(rings[1:]), name)  # type: ignore[arg-type]

    @classmethod
    def ellipse(
        cls, centre: Point, length: float, width: float, angle: float = 0.0, name: str = "ellipse"
    ) -> Outline:
        """Equivalent ellipse of a lesion known only by its length and width.

        Parameters
        ----------
        centre : (float, float)
            Centre. [mm]
        length, width : float
            Full axes; the length lies along +y at angle 0. [mm]
        angle : float
            Counter-clockwise turn. [deg]

        Notes
        -----
        Drawn as an inscribed polygon of 360 points, 0.005 % under π/4·L·W.
        """
        turn = math.radians(angle)
        cos, sin = math.cos(turn), math.sin(turn)
        ring = []
        for i in range(ELLIPSE_POINTS):
            t = 2 * math.pi * i / ELLIPSE_POINTS
            x, y = width / 2 * math.cos(t), length / 2 * math.sin(t)
            ring.append((centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos))
        return cls(tuple(ring), name=name)

    @cached_property
    def polygon(self) -> Polygon:
        """The same outline for geometric predicates."""
        return Polygon(np.array(self.exterior), [np.array(hole) for hole in self.holes])

    @property
    def area(self) -> float:
        """Area without the holes. [mm²]"""
        return float(self.polygon.area)

    @property
    def perimeter(self) -> float:
        """Length of all rings. [mm]"""
        return float(self.polygon.length)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest x, smallest y, largest x, largest y. [mm]"""
        x0, y0, x1, y1 = self.polygon.bounds
        return float(x0), float(y0), float(x1), float(y1)

    @property
    def centroid(self) -> Point:
        """Centre of area. [mm]"""
        centre = self.polygon.centroid
        return float(centre.x), float(centre.y)

    def without_holes(self) -> Outline:
        """The outer ring alone."""
        return Outline(self.exterior, name=self.name) if self.holes else self


@dataclass(frozen=True)
class Planimetry:
    """What is measured on a traced wound: area [mm²], perimeter, length and width [mm]."""

    area: float
    perimeter: float
    length: float
    width: float


def planimetry(parts: Sequence[Outline]) -> Planimetry:
    """Area, perimeter, length and width of a wound traced in one or more parts.

    Parameters
    ----------
    parts : sequence of Outline
        The parts; they must not overlap. [mm]

    Returns
    -------
    Planimetry
        Sums of area and perimeter (margins of islands count), the longest chord over all parts and the
        longest chord at right angles to it.

    Raises
    ------
    OutlineError
        If there is no part, or two parts overlap.

    Notes
    -----
    The cross-section of a polygon along a fixed direction is piecewise linear between its corners, so its
    greatest value is found at a corner; no sampling is needed.

    Examples
    --------
    >>> from offload.core.shapes.outline import Outline, planimetry
    >>> square = Outline([(0, 0), (20, 0), (20, 10), (0, 10)])
    >>> found = planimetry([square])
    >>> round(found.area), round(found.perimeter), round(found.length, 1), round(found.width, 1)
    (200, 60, 22.4, 11.2)
    """
    if not parts:
        raise OutlineError("outline has 0 parts; at least 1 is needed")
    for i, one in enumerate(parts):
        for j, other in enumerate(parts[:i]):
            if one.polygon.intersection(other.polygon).area > SMALLEST_AREA:
                raise OutlineError(f"outline parts {j + 1} and {i + 1} overlap; parts must lie apart")
    length, direction = _longest_chord(parts)
    return Planimetry(
        area=sum(part.area for part in parts),
        perimeter=sum(part.perimeter for part in parts),
        length=length,
        width=_widest_section(parts, direction),
    )


def ellipse_area(length: float, width: float) -> float:
    """Area of the ellipse with the given full axes, π/4·L·W. [mm²]

    Examples
    --------
    >>> from offload.core.shapes.outline import ellipse_area
    >>> round(ellipse_area(20, 12))
    188
    """
    return math.pi / 4 * length * width


def _longest_chord(parts: Sequence[Outline]) -> tuple[float, np.ndarray]:
    """Over the hull's opposite corners: the farthest two lie at parallel lines that hold the hull."""
    hull = shapely.convex_hull(shapely.multipolygons([part.polygon for part in parts]))
    corners = shapely.get_coordinates(shapely.orient_polygons(hull))[:-1]
    edges = np.roll(corners, -1, axis=0) - corners
    turned = np.unwrap(np.arctan2(edges[:, 1], edges[:, 0]))
    # The corner farthest from an edge is where the edges have turned by half a circle since.
    twice = np.concatenate([turned, turned + 2 * math.pi])
    count = len(corners)
    here = np.arange(count)[:, None, None] + np.array([0, 1])[None, :, None]
    across = np.searchsorted(twice, turned + math.pi)[:, None, None] + np.array([-1, 0, 1])[None, None, :]
    first, second = np.broadcast_arrays(here % count, across % count)
    difference = corners[first.ravel()] - corners[second.ravel()]
    squared = np.einsum("ij,ij->i", difference, difference)
    longest = int(np.argmax(squared))
    length = math.sqrt(float(squared[longest]))
    return length, difference[longest] / length


def _widest_section(parts: Sequence[Outline], direction: np.ndarray) -> float:
    """Each side is cut at the corners it passes, and only there: many sides pass few corners."""
    across = np.array([-direction[1], direction[0]])
    rings = [np.asarray(part.exterior) for part in parts]
    start, end = np.vstack(rings), np.vstack([np.roll(ring, -1, axis=0) for ring in rings])
    along_start, along_end = start @ direction, end @ direction
    across_start, across_end = start @ across, end @ across
    positions = np.unique(along_start)
    begins = np.searchsorted(positions, np.minimum(along_start, along_end), "left")
    stops = np.searchsorted(positions, np.maximum(along_start, along_end), "right")
    run = along_end - along_start
    level = run == 0
    slope = (across_end - across_start) / np.where(level, 1.0, run)
    high, low = np.full(len(positions), -np.inf), np.full(len(positions), np.inf)
    for side in np.array_split(np.arange(len(run)), 1 + len(run) * len(positions) // MOST_CUTS):
        counts = stops[side] - begins[side]
        of = np.repeat(side, counts)
        steps = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)
        at = begins[of] + steps
        cuts = across_start[of] + (positions[at] - along_start[of]) * slope[of]
        np.maximum.at(high, at, cuts)
        np.minimum.at(low, at, cuts)
    for ends in (across_start, across_end):
        np.maximum.at(high, begins[level], ends[level])
        np.minimum.at(low, begins[level], ends[level])
    return float((high - low).max())


def _checked_ring(points: Iterable[Iterable[float]], name: str) -> Ring:
    if isinstance(points, np.ndarray) and np.all(np.isfinite(points)):
        # Rings of a computed polygon come as one array: the same checks, without a step a point.
        kept = points[np.any(points != np.roll(points, 1, axis=0), axis=1)]
        if len(kept) > 2:
            return tuple(map(tuple, kept.tolist()))
    ring: list[Point] = []
    for i, point in enumerate(points):
        pair = tuple(point)
        if len(pair) != 2:
            raise OutlineError(f"{name} point {i + 1} has {len(pair)} coordinates; 2 are needed")
        x, y = float(pair[0]), float(pair[1])
        if not (math.isfinite(x) and math.isfinite(y)):
            raise OutlineError(f"{name} point {i + 1} is ({x}, {y}); coordinates must be finite numbers")
        if not ring or ring[-1] != (x, y):
            ring.append((x, y))
    if len(ring) > 1 and ring[0] == ring[-1]:
        ring.pop()
    if len(set(ring)) < 3:
        raise OutlineError(f"{name} has {len(set(ring))} different points; at least 3 are needed")
    return tuple(ring)


def _refuse_invalid(polygon: Polygon, name: str) -> None:
    if polygon.area > SMALLEST_AREA and polygon.is_valid:
        return
    if shapely.convex_hull(polygon).area <= SMALLEST_AREA:
        raise OutlineError(f"{name} has an area of 0 mm²; the area must be above 0")
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        where = re.search(r"\[(\S+) (\S+)\]", reason)
        spot = f" at ({float(where[1]):.2f}, {float(where[2]):.2f})" if where else ""
        kind = reason.split("[")[0].strip().lower()
        raise OutlineError(
            f"{name} crosses or touches itself{spot} ({kind}); the limit is one simple ring without crossings"
        )
    if polygon.area <= SMALLEST_AREA:
        raise OutlineError(f"{name} has an area of {polygon.area:.2g} mm²; the area must be above 0")
