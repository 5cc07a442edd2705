"""From pixels to millimetres: a photographed rectangle of known size, or two points of a ruler."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from offload.core.errors import RectifyError
from offload.core.shapes.outline import Point

__all__ = [
    "ID1_CARD",
    "Rectification",
    "corners_of_edges",
    "homography",
    "rectify",
    "scale_by_ruler",
    "upright",
]

ID1_CARD = (85.60, 53.98)  # [mm] ISO/IEC 7810, format ID-1; its corners are rounded, so intersect the edges
LARGEST_RESIDUAL = 0.5  # [mm] rms of edge points off the straight edge; design choice, no source
SHORTEST_SIDE = 40.0  # [px] a shorter side is seen too coarsely; design choice, no source
LARGEST_FORESHORTENING = 1.6  # about 50° of tilt; design choice, no source
TILT_CAVEAT = (
    "Scaled by a ruler alone: the tilt of the photograph is not corrected. A tilt of 10° hides 1.5 % of the "
    "area, "
    "20° hides 6 %, 30° hides 13 %."
)
CORNER_CAVEAT = (
    "Four corners fit any picture exactly, so the fit could not be checked; mark points on the "
    "edges to check it."
)


@dataclass(frozen=True)
class Rectification:
    """A map from pixels to millimetres in one plane.

    Parameters
    ----------
    matrix : tuple of 3 tuples of 3 floats
        Homography from pixels to mm.
    method : str
        ``rectangle`` or ``ruler``.
    residual : float or None
        Root mean square of the edge points off the rectangle's edges; None where nothing could be compared.
        [mm]
    caveat : str or None
        A sentence that must stand beside every figure taken with this map.
    """

    matrix: tuple[tuple[float, float, float], ...]
    method: str
    residual: float | None
    caveat: str | None

    def to_mm(self, points: ArrayLike) -> tuple[Point, ...]:
        """Points of the photograph in the plane of the reference.

        Parameters
        ----------
        points : (N, 2) array_like
            [px]

        Returns
        -------
        tuple of N points
            Origin at the first corner, x along the first edge. [mm]

        Raises
        ------
        RectifyError
            If a point is not finite or lies on or beyond the horizon of the plane.
        """
        pixels = _finite(points, "point")
        mapped = np.column_stack([pixels, np.ones(len(pixels))]) @ np.array(self.matrix).T
        for (x, y), depth in zip(pixels, mapped[:, 2], strict=True):
            if depth <= 1e-9:
                raise RectifyError(
                    f"point ({x:g}, {y:g}) px lies beyond the horizon of the reference's plane; the limit is "
                    "a point "
                    "in front of the camera"
                )
        flat = mapped[:, :2] / mapped[:, 2:]
        return tuple((float(x), float(y)) for x, y in flat)


def rectify(
    corners: ArrayLike,
    size: tuple[float, float] = ID1_CARD,
    edges: Sequence[ArrayLike] | None = None,
    largest_residual: float = LARGEST_RESIDUAL,
) -> Rectification:
    """Map of a photograph in which a rectangle of known size lies in the plane that is measured.

    Parameters
    ----------
    corners : (4, 2) array_like
        Corners, clockwise as seen, beginning with a side of the first size. [px]
    size : (float, float)
        First and second side. [mm]
    edges : sequence of 4 (N, 2) array_like, optional
        Points seen on the edges, edge i from corner i to the next; they give the residual. [px]
    largest_residual : float
        Above it the map is refused. [mm]

    Returns
    -------
    Rectification

    Raises
    ------
    RectifyError
        If the corners are no convex clockwise quadrilateral of plausible shape, or the edge points miss the
        edges.

    Notes
    -----
    Outside the reference's plane the map is wrong by the ratio of the distances to the camera.

    References
    ----------
    .. [1] R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed. 2004, algorithm 4.2
       (normalised direct linear transformation).
    """
    width, height = size
    if not (math.isfinite(width) and math.isfinite(height) and width > 0 and height > 0):
        raise RectifyError(f"size is {width:g} × {height:g} mm; the limit is two lengths above 0")
    quad = _finite(corners, "corner")
    _refuse_quad(quad, size)
    target = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    matrix = homography(quad, target)
    matrix = matrix / (
        np.append(quad[0], 1.0) @ matrix[2]
    )  # depth 1 at the first corner: positive on its side
    rows = tuple((float(a), float(b), float(c)) for a, b, c in matrix)
    unchecked = Rectification(rows, "rectangle", None, CORNER_CAVEAT)
    if edges is None:
        return unchecked
    if len(edges) != 4:
        raise RectifyError(f"edges are {len(edges)}; the limit is 4, one from each corner to the next")
    misses: list[float] = []
    for points, axis, place in zip(edges, (1, 0, 1, 0), (0.0, width, height, 0.0), strict=True):
        misses += [point[axis] - place for point in unchecked.to_mm(points)]
    residual = math.sqrt(sum(miss * miss for miss in misses) / len(misses))
    if residual > largest_residual:
        raise RectifyError(
            f"edge points miss the straight edges by {residual:.2f} mm (rms); the limit is "
            f"{largest_residual:g} mm: mark "
            "them again, or lay the reference flat"
        )
    return Rectification(rows, "rectangle", residual, None)


def upright(
    corners: Sequence[Point], size: tuple[float, float] = ID1_CARD
) -> tuple[tuple[Point, ...], tuple[float, float], int]:
    """Corners of a reference, whichever way it lies, so that its plane stands as the photograph does.

    Parameters
    ----------
    corners : sequence of 4 points
        Clockwise as seen, beginning anywhere. [px]
    size : (float, float)
        The reference lying: its long side and its short side. [mm]

    Returns
    -------
    tuple
        The corners beginning with the side that runs most to the right in the picture; the sizes of that side
        and of the next [mm]; and how many corners were passed over.

    Notes
    -----
    A reference that stands upright is seen taller than wide: the nearer of the two readings, by the ratio of
    the sides seen, is taken. What is not four corners is handed back as it is, for `rectify` to refuse.

    Examples
    --------
    >>> from offload.core.shapes.rectify import upright
    >>> upright([(0.0, 0.0), (540.0, 0.0), (540.0, 856.0), (0.0, 856.0)])[1:]
    ((53.98, 85.6), 0)
    """
    quad = np.asarray(corners, dtype=float)
    if quad.shape != (4, 2) or not np.isfinite(quad).all():
        return tuple(corners), size, 0
    sides = np.roll(quad, -1, axis=0) - quad
    lengths = np.hypot(*sides.T)
    if lengths.min() <= 0.0:
        return tuple(corners), size, 0
    first = int(np.argmax(sides[:, 0] / lengths))
    turned = np.roll(lengths, -first)
    seen = float((turned[0] + turned[2]) / (turned[1] + turned[3]))
    ratio = size[0] / size[1]
    stands = abs(math.log(seen * ratio)) < abs(math.log(seen / ratio))
    order = tuple((float(x), float(y)) for x, y in np.roll(quad, -first, axis=0))
    return order, (size[1], size[0]) if stands else size, first


def corners_of_edges(edges: Sequence[ArrayLike]) -> tuple[Point, ...]:
    """Corners of a rectangle with rounded corners, from points on its straight edges.

    Parameters
    ----------
    edges : sequence of 4 (N, 2) array_like
        At least two points on each edge, the edges in clockwise order as seen. [px]

    Returns
    -------
    tuple of 4 points
        Corner i lies between edge i − 1 and edge i, so edge i runs from corner i to the next. [px]

    Raises
    ------
    RectifyError
        If an edge has fewer than two different points or two neighbours are parallel.

    Notes
    -----
    Each edge is the line of least squared distance (first principal axis) through its points.
    """
    if len(edges) != 4:
        raise RectifyError(f"edges are {len(edges)}; the limit is 4")
    lines = []
    for i, edge in enumerate(edges):
        points = _finite(edge, f"edge {i + 1} point")
        middle = points.mean(axis=0)
        _, strengths, axes = np.linalg.svd(points - middle)
        if len(points) < 2 or strengths[0] < 1.0:
            raise RectifyError(
                f"edge {i + 1} has no two points that lie apart; the limit is 2 points, 1 px apart"
            )
        normal = axes[1]
        lines.append((normal, float(normal @ middle)))
    corners = []
    for i in range(4):
        (n1, c1), (n2, c2) = lines[i - 1], lines[i]
        system = np.array([n1, n2])
        if abs(float(np.linalg.det(system))) < 0.05:
            raise RectifyError(
                f"edges {(i - 1) % 4 + 1} and {i + 1} are nearly parallel; the limit is edges that meet at a "
                "corner"
            )
        x, y = np.linalg.solve(system, np.array([c1, c2]))
        corners.append((float(x), float(y)))
    return tuple(corners)


def homography(source: ArrayLike, target: ArrayLike) -> NDArray[np.float64]:
    """Projective map that carries points of one plane to points of another, in the least-squares sense.

    Parameters
    ----------
    source, target : (N, 2) array_like
        At least four pairs, no three of four points on a line.

    Returns
    -------
    (3, 3) ndarray
        Matrix H with target ~ H·source in homogeneous coordinates.

    Raises
    ------
    RectifyError
        If there are fewer than four pairs or they do not fix the map.

    Notes
    -----
    Both point sets are moved to their centroid and scaled to a mean distance of √2; the null vector of the
    2N × 9 system is its last right singular vector.

    References
    ----------
    .. [1] R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed. 2004, algorithm 4.2.
    """
    a, b = _finite(source, "source point"), _finite(target, "target point")
    if len(a) != len(b) or len(a) < 4:
        raise RectifyError(f"point pairs are {len(a)} and {len(b)}; the limit is at least 4 of each")
    (a, to_a), (b, to_b) = _normalised(a), _normalised(b)
    rows = []
    for (x, y), (u, v) in zip(a, b, strict=True):
        rows.append([-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, u])
        rows.append([0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v])
    _, strengths, axes = np.linalg.svd(np.array(rows))
    if strengths[7] < 1e-9 * strengths[0]:
        raise RectifyError(
            "points do not fix the map; the limit is four points of which no three lie on one line"
        )
    return np.linalg.inv(to_b) @ axes[8].reshape(3, 3) @ to_a


def scale_by_ruler(first: Point, second: Point, distance: float) -> Rectification:
    """Map by scale alone, from two points of a ruler.

    Parameters
    ----------
    first, second : (float, float)
        Two marks of the ruler. [px]
    distance : float
        Distance between the marks. [mm]

    Returns
    -------
    Rectification
        With the tilt caveat, since two points cannot show a tilt.

    Raises
    ------
    RectifyError
        If the marks coincide or the distance is not above 0.

    Notes
    -----
    A plane tilted by θ loses the share 1 − cos θ of its area when seen from far.
    """
    ends = _finite([first, second], "ruler mark")
    apart = float(np.hypot(*(ends[1] - ends[0])))
    if apart < SHORTEST_SIDE:
        raise RectifyError(
            f"ruler marks are {apart:.1f} px apart; the limit is at least {SHORTEST_SIDE:g} px"
        )
    if not (math.isfinite(distance) and distance > 0):
        raise RectifyError(f"ruler distance is {distance:g} mm; the limit is a length above 0")
    scale = distance / apart
    return Rectification(((scale, 0.0, 0.0), (0.0, scale, 0.0), (0.0, 0.0, 1.0)), "ruler", None, TILT_CAVEAT)


def _finite(points: ArrayLike, name: str) -> NDArray[np.float64]:
    array = np.asarray(points, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2:
        raise RectifyError(f"{name}s have the shape {array.shape}; the limit is pairs of two numbers")
    if not np.isfinite(array).all():
        raise RectifyError(
            f"{name} {int(np.argmin(np.isfinite(array).all(axis=1))) + 1} is not finite; the limit is numbers"
        )
    return array


def _normalised(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    middle = points.mean(axis=0)
    spread = float(np.mean(np.hypot(*(points - middle).T)))
    if spread == 0.0:
        raise RectifyError("points coincide; the limit is four points of which no three lie on one line")
    scale = math.sqrt(2.0) / spread
    move = np.array([[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]])
    return (points - middle) * scale, move


def _refuse_quad(quad: NDArray[np.float64], size: tuple[float, float]) -> None:
    if len(quad) != 4:
        raise RectifyError(f"corners are {len(quad)}; the limit is 4")
    sides = np.roll(quad, -1, axis=0) - quad
    turns = [float(a[0] * b[1] - a[1] * b[0]) for a, b in zip(sides, np.roll(sides, -1, axis=0), strict=True)]
    lengths = np.hypot(*sides.T)
    if lengths.min() < SHORTEST_SIDE:
        raise RectifyError(
            f"shortest side of the rectangle is {lengths.min():.1f} px; the limit is at least "
            f"{SHORTEST_SIDE:g} px"
        )
    if all(turn < 0 for turn in turns):
        raise RectifyError("corners run counter-clockwise; the limit is clockwise as seen in the photograph")
    if not all(turn > 0 for turn in turns):
        raise RectifyError(
            "corners form no convex quadrilateral; the limit is four corners in order, none inside"
        )
    seen = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3])
    squeeze = seen / (size[0] / size[1])
    if not 1.0 / LARGEST_FORESHORTENING <= squeeze <= LARGEST_FORESHORTENING:
        raise RectifyError(
            f"sides look {seen:.2f} : 1 where {size[0] / size[1]:.2f} : 1 is true; the limit is a factor of "
            f"{LARGEST_FORESHORTENING:g}: begin with the other side, or hold the camera straighter"
        )
