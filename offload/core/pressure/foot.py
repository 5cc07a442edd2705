"""The foot upon the foam: springs of tissue between a rigid skeleton and what lies below, with force and
moments given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.law import Series
from offload.core.pressure.lattice import Lattice, Load
from offload.core.pressure.rigid import RigidFrame

__all__ = ["Foot", "Pressed", "Spring"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Spring:
    """Compression [mm], stress [kPa] and slope [kPa/mm] of springs at one state."""

    compression: Array
    stress: Array
    slope: Array

    def guess(self, compression: Array) -> Array:
        """Stress at a compression nearby: stress is convex in compression, so this is near and never
        above the answer.
        """
        return np.maximum(self.stress + self.slope * (compression - self.compression), 0.0)

    @classmethod
    def of(cls, law: Series, compression: Array, near: Spring | None, bonded: Mask | bool = False) -> Spring:
        """Springs of a law; bonded ones are pulled as stiffly as they are first pressed, the others let
        go.
        """
        stress, slope = law.pressure(compression, None if near is None else near.guess(compression))
        pulled = bonded & (compression < 0)
        if np.any(pulled):
            stress = np.where(pulled, law.stiffness * compression, stress)
            slope = np.where(pulled, law.stiffness, slope)
        return cls(compression, stress, slope)


@dataclass(frozen=True, slots=True)
class Pressed:
    """Pressure under the foot [kPa] and its slope [kPa/mm] in each cell of contact, and the load's
    residual.
    """

    pressure: Array
    slope: Array
    rest: Array
    spring: Spring


class Foot:
    """A foot of a given profile that carries a given load.

    Parameters
    ----------
    lattice
        The cells.
    profile_mm, contact
        How far the skeleton stands down in each cell [mm] and which cells have a foot above them, shape
        ``(ny, nx)``.
    tissue_kpa_mm
        Stiffness of the plantar tissue [kPa/mm].
    load
        Force and moments to be carried.
    face
        Place of the unknown that each cell presses upon, -1 where there is none, shape ``(ny, nx)``.
    above, columns
        Law of a plate, which lies above those unknowns and is squeezed with the tissue, and of the columns
        that are squeezed with it where there is no unknown, shape ``(ny, nx)`` each. ``above`` is None
        without a plate: tissue alone.

    Attributes
    ----------
    cells
        The cells of contact, shape ``(ny, nx)``.
    place
        ``face`` of those cells.
    """

    def __init__(
        self,
        lattice: Lattice,
        profile_mm: Array,
        contact: Mask,
        tissue_kpa_mm: float,
        load: Load,
        face: NDArray[np.intp],
        above: Series | None,
        columns: Series,
    ) -> None:
        self.cells = contact
        self.place = face[contact]
        self.frame = RigidFrame(lattice, contact, load)
        self._area = lattice.area
        self._profile = profile_mm[contact]
        self._held = np.flatnonzero(self.place >= 0)
        self._onto = self.place[self._held]
        if above is None:
            self._law = Series.linear(np.full(self.place.size, 1.0 / tissue_kpa_mm))
        else:
            parts = [(columns, contact & (face < 0)), (above, contact & (face >= 0))]
            self._law = Series.joined(parts, 1.0 / tissue_kpa_mm, by_place=True)

    def upon(self, values: Array, count: int) -> Array:
        """Values of the cells of contact, put on the unknowns they press upon."""
        out = np.zeros(count)
        out[self._onto] = values[self._held]
        return out

    def press(self, q: Array, motion: Array, near: Pressed | None, clip: bool = True) -> Pressed:
        """Pressure upon the unknowns at a motion of the skeleton; without ``clip`` the foot cannot let go."""
        reach = self._profile + self.frame.plane(motion)
        reach[self._held] -= q[self._onto]
        spring = Spring.of(self._law, reach, None if near is None else near.spring, not clip)
        rest = self.frame.sums(spring.stress) * self._area - self.frame.wanted
        return Pressed(spring.stress, spring.slope, rest, spring)
