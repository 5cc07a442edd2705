"""Find the straight edges of a reference rectangle in a picture: a first guess, and edges to sub-pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import MultiPoint, Polygon

from offload.core.errors import RectifyError
from offload.core.shapes.outline import Point
from offload.core.shapes.rectify import ID1_CARD, corners_of_edges, rectify

__all__ = ["Edges", "guess_corners", "snap_to_edges"]

Gray = NDArray[np.float64]

ALONG = (
    0.12,
    0.88,
)  # part of a side that is straight: ID-1 corners are rounded by about 3.2 mm (ISO/IEC 7810)
SAMPLES = 60  # profiles a side
BLUR = 1.2  # [px] standard deviation of the smoothing across an edge
CLEAR_SHARE = 0.6  # of the profiles of a side must lie on one line; design choice
STRAY = 1.5  # [px] a profile this far off the line is not on it; design choice
GUESS_SIZE = 360  # [px] longest side of the picture in which the first guess is made
LEVELS = 11  # thresholds tried
LEAST_SHARE, MOST_SHARE = 0.006, 0.5  # of the picture that a reference can fill
TOLERANCES = (0.006, 0.012, 0.02, 0.03)  # of a hull's length
FILLED = 0.9  # of its quadrilateral that a blob must fill to be a rectangle seen from somewhere


@dataclass(frozen=True)
class Edges:
    """Four corners and the points on the straight edges between them.

    Parameters
    ----------
    corners : tuple of 4 points
        Where the straight edges meet, clockwise as seen. [px]
    points : tuple of 4 tuples of points
        Points seen on each edge, edge i from corner i to the next. [px]
    """

    corners: tuple[Point, ...]
    points: tuple[tuple[Point, ...], ...]


def snap_to_edges(picture: Gray, corners: Sequence[Point], reach: float | None = None) -> Edges | None:
    """Move marked corners to where the straight edges beside them meet.

    Parameters
    ----------
    picture : (rows, columns) ndarray
        Grey values.
    corners : sequence of 4 points
        As marked, clockwise as seen. [px]
    reach : float, optional
        How far from the marked side an edge is looked for; 6 % of the shortest side if not given. [px]

    Returns
    -------
    Edges or None
        None where a side has no clear straight edge: the marks then stand as they are.

    Notes
    -----
    Across each side, the steepest place of the smoothed grey profile is taken to sub-pixel by a parabola
    through three gradients. Profiles far off the common line are dropped before the last fit.
    """
    quad = np.asarray(corners, dtype=float)
    sides = np.roll(quad, -1, axis=0) - quad
    shortest = float(np.hypot(*sides.T).min())
    if shortest < 8.0:
        return None
    span = min(max(0.06 * shortest, 4.0), 30.0) if reach is None else reach
    # Twice: the first fit tells where to look, the second looks straight across the edge.
    found, snapped = _fitted(picture, quad, span)
    if snapped is not None:
        found, snapped = _fitted(picture, np.asarray(snapped), max(0.35 * span, 4.0))
    if snapped is None or np.hypot(*(np.asarray(snapped) - quad).T).max() > 3.0 * span:
        return None
    return Edges(snapped, tuple(tuple((float(x), float(y)) for x, y in edge) for edge in found))


def guess_corners(picture: Gray, size: tuple[float, float] = ID1_CARD) -> Edges | None:
    """Corners of a reference rectangle that stands out from its surroundings, or None.

    Parameters
    ----------
    picture : (rows, columns) ndarray
        Grey values.
    size : (float, float)
        First and second side of the reference. [mm]

    Returns
    -------
    Edges or None
        None where no blob of the picture is clearly such a rectangle: a person then marks the corners.

    Notes
    -----
    Blobs brighter or darker than a row of thresholds are filled; one whose convex hull is a quadrilateral of
    plausible shape with four clear straight edges is kept, the one with the straightest edges first.
    """
    step = max(1.0, max(picture.shape) / GUESS_SIZE)
    small = ndimage.zoom(ndimage.gaussian_filter(picture, 0.5 * step), 1.0 / step, order=1)
    best: tuple[float, Edges] | None = None
    seen: list[NDArray[np.float64]] = []
    low, high = np.percentile(small, [1.0, 99.5])
    for level in np.linspace(low, high, LEVELS + 2)[1:-1]:
        for blobs in (small > level, small < level):
            for quad in _quadrilaterals(blobs):
                if any(np.abs(quad - other).max() < 3.0 for other in seen):
                    continue
                seen.append(quad)
                edges = _checked(picture, _ordered(quad * step, size), size, reach=2.5 * step)
                if edges is not None and (best is None or edges[0] < best[0]):
                    best = edges
    return None if best is None else best[1]


def _fitted(
    picture: Gray, quad: NDArray[np.float64], span: float
) -> tuple[list[NDArray[np.float64]], tuple[Point, ...] | None]:
    """Points on the four edges near a quadrilateral, and where their lines meet; None where an edge is
    not clear.
    """
    found: list[NDArray[np.float64]] = []
    for i in range(4):
        edge = _edge_between(picture, quad[i], quad[(i + 1) % 4], span)
        if edge is None:
            return found, None
        found.append(edge)
    try:
        return found, corners_of_edges(found)
    except RectifyError:
        return found, None


def _checked(
    picture: Gray, quad: NDArray[np.float64], size: tuple[float, float], reach: float
) -> tuple[float, Edges] | None:
    edges = snap_to_edges(picture, [(float(x), float(y)) for x, y in quad], max(reach, 4.0))
    if edges is None:
        return None
    try:
        plane = rectify(edges.corners, size, edges.points)
    except RectifyError:
        return None
    return (plane.residual or 0.0), edges


def _quadrilaterals(blobs: NDArray[np.bool_]) -> list[NDArray[np.float64]]:
    """Corners (x, y), clockwise as seen, of the blobs that fill a quadrilateral."""
    labels, count = ndimage.label(blobs)
    if count == 0:
        return []
    sizes = ndimage.sum_labels(np.ones_like(labels), labels, np.arange(1, count + 1))
    places = ndimage.find_objects(labels)
    found = []
    for number in np.flatnonzero((sizes > LEAST_SHARE * blobs.size / 4) & (sizes < MOST_SHARE * blobs.size)):
        where = places[number]
        if _touches_border(where, blobs.shape):
            continue
        blob = ndimage.binary_fill_holes(np.pad(labels[where] == number + 1, 1))
        area = float(blob.sum())
        if not LEAST_SHARE * blobs.size < area < MOST_SHARE * blobs.size:
            continue
        rows, columns = np.nonzero(blob ^ ndimage.binary_erosion(blob))
        hull = MultiPoint(np.column_stack([columns, rows]).astype(float)).convex_hull
        if not isinstance(hull, Polygon) or area < FILLED * hull.buffer(0.5).area:
            continue
        quad = _four_corners(hull)
        if quad is not None and area > FILLED * Polygon(quad).buffer(0.5, join_style="mitre").area:
            found.append(quad + [where[1].start - 0.5, where[0].start - 0.5])
    return found


def _touches_border(where: tuple[slice, ...], shape: tuple[int, ...]) -> bool:
    return any(part.start == 0 or part.stop == length for part, length in zip(where, shape, strict=True))


def _four_corners(hull: Polygon) -> NDArray[np.float64] | None:
    """Four corners of a hull with rounded corners: its four longest straight runs, intersected.

    A run that digital noise breaks in two is mended by a coarser tolerance; the quadrilateral nearest in area
    wins.
    """
    quads = [quad for share in TOLERANCES if (quad := _runs_met(hull, share * hull.length)) is not None]
    if not quads:
        return None
    return min(quads, key=lambda quad: abs(float(Polygon(quad).area) / float(hull.area) - 1.0))


def _runs_met(hull: Polygon, tolerance: float) -> NDArray[np.float64] | None:
    corners = np.asarray(hull.simplify(tolerance).exterior.coords[:-1])
    if len(corners) < 4:
        return None
    sides = np.roll(corners, -1, axis=0) - corners
    longest = np.sort(np.argsort(np.hypot(*sides.T))[-4:])
    edges = [(corners[i], corners[(i + 1) % len(corners)]) for i in longest]
    try:
        quad = np.asarray(corners_of_edges(edges))
    except RectifyError:
        return None
    return quad if Polygon(quad).is_valid else None


def _ordered(quad: NDArray[np.float64], size: tuple[float, float]) -> NDArray[np.float64]:
    """Clockwise as seen, beginning with a side that is longer seen if the first side is the longer one."""
    x, y = quad.T
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
        quad = quad[::-1]
    lengths = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    first_longer = lengths[0] + lengths[2] >= lengths[1] + lengths[3]
    quad = quad if first_longer == (size[0] >= size[1]) else np.roll(quad, -1, axis=0)
    # Of the two ways left, begin at the corner nearer to the top left of the picture.
    turned = np.roll(quad, -2, axis=0)
    return quad if quad[0].sum() <= turned[0].sum() else turned


def _edge_between(
    picture: Gray, start: NDArray[np.float64], end: NDArray[np.float64], span: float
) -> NDArray[np.float64] | None:
    """Points on the straight edge beside a marked side."""
    side = end - start
    normal = np.array([-side[1], side[0]]) / np.hypot(*side)
    along = np.linspace(*ALONG, SAMPLES)
    offsets = np.arange(-span - 3.0, span + 3.5, 0.5)
    places = start + along[:, None, None] * side + offsets[None, :, None] * normal
    # The middle of the first pixel lies at (0.5, 0.5), as on the screen.
    at = [places[..., 1] - 0.5, places[..., 0] - 0.5]
    grey = ndimage.map_coordinates(picture, at, order=1, mode="nearest")
    slope = ndimage.gaussian_filter1d(grey, 2.0 * BLUR, axis=1, order=1)
    inner = slice(6, len(offsets) - 6)
    rising = float(np.sum(np.clip(slope[:, inner], 0, None) ** 2))
    falling = float(np.sum(np.clip(-slope[:, inner], 0, None) ** 2))
    signed = slope if rising >= falling else -slope
    peak = np.argmax(signed[:, inner], axis=1) + 6
    rows = np.arange(SAMPLES)
    left, top, right = signed[rows, peak - 1], signed[rows, peak], signed[rows, peak + 1]
    bend = left - 2.0 * top + right
    shift = np.where(np.abs(bend) > 1e-12, 0.5 * (left - right) / np.where(bend == 0, 1.0, bend), 0.0)
    across = offsets[peak] + 0.5 * np.clip(shift, -1.0, 1.0)
    keep = top > 0
    for _ in range(4):
        if keep.sum() < CLEAR_SHARE * SAMPLES:
            return None
        line = np.polyfit(along[keep], across[keep], 1)
        miss = np.abs(across - np.polyval(line, along))
        spread = 1.4826 * float(np.median(miss[keep]))
        keep = (top > 0) & (miss <= max(min(STRAY, 3.0 * spread), 0.3))
    if keep.sum() < CLEAR_SHARE * SAMPLES:
        return None
    points = start + along[keep, None] * side + across[keep, None] * normal
    return points
