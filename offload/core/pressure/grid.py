"""A measured pressure grid in the anatomical frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offload.core.shapes.outline import Point

__all__ = ["PressureMap"]


@dataclass(frozen=True)
class PressureMap:
    """Measured plantar pressure on a rectangular grid in the anatomical frame.

    Parameters
    ----------
    kpa : tuple of tuple of float, shape (ny, nx)
        Rows run along +y, columns along +x. [kPa]
    cell : (float, float)
        Size of a cell, dx and dy. [mm]
    origin : (float, float)
        Corner of cell [0][0] with the smallest x and y. [mm]
    kind : str
        ``peak`` (largest value of each cell over the step) or ``instant`` (one moment).
    taken : str
        ``barefoot``, in a flat ``shoe``, or in the ``device`` the insole is for.
    """

    kpa: tuple[tuple[float, ...], ...]
    cell: Point
    origin: Point
    kind: str = "peak"
    taken: str = "shoe"

    def grid(self) -> np.ndarray:
        """Pressures as an array of shape (ny, nx). [kPa]"""
        return np.asarray(self.kpa, dtype=float)

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """x of the columns, shape (nx,), and y of the rows, shape (ny,). [mm]"""
        rows, columns = len(self.kpa), len(self.kpa[0])
        return (
            self.origin[0] + (np.arange(columns) + 0.5) * self.cell[0],
            self.origin[1] + (np.arange(rows) + 0.5) * self.cell[1],
        )

    def force(self) -> float:
        """Integral of the map. [N]"""
        return float(self.grid().sum()) * self.cell[0] * self.cell[1] / 1000.0
