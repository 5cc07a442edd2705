"""The cells on which pressure is solved, and the load they carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from offload.core.errors import ReliefError

__all__ = ["Lattice", "Load", "SolverError"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


class SolverError(ReliefError):
    """The load cannot stand on the cells given, or the iteration did not reach its tolerance."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """Rectangular cells: centres ``x`` [mm] and ``y`` [mm] and which of them are foam.

    ``support`` has shape ``(len(y), len(x))``. Cells are numbered along ``x`` first, so the band of the
    system is as narrow as the foot.
    """

    x: Array
    y: Array
    dx: float
    dy: float
    support: Mask

    @property
    def area(self) -> float:
        """Area of one cell [mm²]."""
        return self.dx * self.dy

    def load_of(self, pressure_kpa: Array) -> Load:
        """Force [N] and both moments [N mm] about the origin of the frame that a pressure [kPa] exerts."""
        p = pressure_kpa * (self.area * 1e-3)
        rows = p.sum(axis=1)
        return Load(float(rows.sum()), float(p.sum(axis=0) @ self.x), float(rows @ self.y))


@dataclass(frozen=True, slots=True)
class Load:
    """A vertical force [N] and its moments ``sum p x dA`` and ``sum p y dA`` [N mm]."""

    force_n: float
    moment_x: float
    moment_y: float
