"""The mean over a patch as large as an insole sensor: what a measurement in the shoe could show."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array

from offload.core.pressure.lattice import Lattice
from offload.core.shapes.outline import Outline

__all__ = ["PATCH_MM2", "Patches"]

Array = NDArray[np.float64]

PATCH_MM2 = 150.0
"""Area of the patch [mm²]: insole sensors are 1 to 2 cm² (sensors of 1 cm² are named in the Australian
footwear guideline, doi 10.1186/s13047-017-0244-z; the middle of the range is a design choice).
"""
RINGS, SPOKES = 4, 12
APART_MM = 2.0


class Patches:
    """Round patches of one size in a lesion, and the mean of a pressure over each.

    Parameters
    ----------
    outline
        The lesion.
    lattice
        Cells of the pressure.
    area_mm2
        Area of a patch [mm²].

    Notes
    -----
    Patches lie within the lesion wherever it is wide enough to hold one; a smaller or narrower lesion has one
    about its deepest point, which then takes in what lies around. Means are of the straight field between the
    cells' centres at 48 points of equal share, so they hardly depend on the cells.
    """

    def __init__(self, outline: Outline, lattice: Lattice, area_mm2: float = PATCH_MM2) -> None:
        radius = math.sqrt(area_mm2 / math.pi)
        polygon = outline.polygon
        deepest = shapely.maximum_inscribed_circle(polygon).coords[0]
        self.centres = np.array([deepest, *_within(polygon.buffer(-radius), deepest)])
        turn = np.arange(SPOKES) * (2.0 * math.pi / SPOKES)
        reach = radius * np.sqrt((np.arange(RINGS) + 0.5) / RINGS)
        dx = np.outer(reach, np.cos(turn)).ravel()
        dy = np.outer(reach, np.sin(turn)).ravel()
        self._x, self._y = self.centres[:, :1] + dx, self.centres[:, 1:] + dy
        self._lattice = lattice
        self._shares = {(0.0, 0.0): _means(self._x, self._y, lattice)}

    def highest(self, pressure_kpa: Array, moved: tuple[float, float] = (0.0, 0.0)) -> float:
        """Highest mean of a pressure over a patch [kPa], the lesion moved by a little along x and y [mm]."""
        if moved not in self._shares:
            self._shares[moved] = _means(self._x + moved[0], self._y + moved[1], self._lattice)
        return float((self._shares[moved] @ pressure_kpa.ravel()).max())


def _within(inner: shapely.Geometry, at: tuple[float, ...]) -> Array:
    """Points of a grid through a point that lie in a polygon."""
    if inner.is_empty:
        return np.empty((0, 2))
    x0, y0, x1, y1 = inner.bounds
    along = [
        at[i] + APART_MM * np.arange(math.ceil((low - at[i]) / APART_MM), (high - at[i]) / APART_MM)
        for i, low, high in ((0, x0, x1), (1, y0, y1))
    ]
    x, y = (grid.ravel() for grid in np.meshgrid(*along))
    held = shapely.contains_xy(inner, x, y)
    return np.stack([x[held], y[held]], axis=1)


def _means(x: Array, y: Array, lattice: Lattice) -> csr_array:
    """Mean over each row of points of a field given in the cells' centres, shape ``(rows, cells)``;
    nothing beyond.
    """
    ny, nx = lattice.support.shape
    column, row = (x - lattice.x[0]) / lattice.dx, (y - lattice.y[0]) / lattice.dy
    left, below = np.floor(column).astype(int), np.floor(row).astype(int)
    u, v = column - left, row - below
    patch = np.broadcast_to(np.arange(len(x))[:, None], x.shape)
    shares, cells, patches = [], [], []
    for i, share_x in ((0, 1.0 - u), (1, u)):
        for j, share_y in ((0, 1.0 - v), (1, v)):
            inside = (left + i >= 0) & (left + i < nx) & (below + j >= 0) & (below + j < ny)
            shares.append((share_x * share_y)[inside] / x.shape[1])
            cells.append(((below + j) * nx + left + i)[inside])
            patches.append(patch[inside])
    at = np.concatenate(patches), np.concatenate(cells)
    return csr_array((np.concatenate(shares), at), shape=(len(x), nx * ny))
