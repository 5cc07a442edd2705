"""States of the foundation: where a solve begins, and where it comes to rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from offload.core.pressure.lattice import Load

__all__ = ["Settled", "Start"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Start:
    """Where an iteration begins.

    Attributes
    ----------
    displacement
        Of the foam's upper face [mm], shape ``(ny, nx)``.
    motion
        Rigid motion of the skeleton.
    roof
        Descent of the plate's lower face, its turns along x and y as lengths, its slides along x and y [mm],
        and its pressure on the ground of the void [kPa], shape ``(6, ny, nx)``; None to begin as before the
        cut.
    """

    displacement: Array
    motion: tuple[float, float, float] = (0.0, 0.0, 0.0)
    roof: Array | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """A state of equilibrium.

    Attributes
    ----------
    displacement
        Displacement of the foam's upper face [mm], down is positive.
    motion
        Rigid motion of the skeleton: descent [mm] at the origin of the frame and slopes along x and y [-].
    pressure_kpa
        Pressure between foot and foam [kPa].
    foam_kpa
        Pressure that the columns' upper layers carry [kPa]; without a plate it differs from the former by
        what the coupling shifts.
    lower_kpa
        Pressure on the layers below the plate [kPa]; nothing over an open void. Elsewhere the same as
        ``foam_kpa``.
    roof
        As in ``Start``; its first part is the displacement of the upper face where there is no plate.
    load
        Force and moments of ``pressure_kpa``.
    steps, residual
        Newton steps, and the relative residual left.
    """

    displacement: Array
    motion: tuple[float, float, float]
    pressure_kpa: Array
    foam_kpa: Array
    lower_kpa: Array
    roof: Array
    load: Load
    steps: int
    residual: float

    def as_start(self) -> Start:
        """This state as the beginning of a neighbouring solve."""
        return Start(self.displacement, self.motion, self.roof)
