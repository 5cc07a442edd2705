"""What carries the foot from below: the foam of each cell, part by part, each part at its own middle."""

from __future__ import annotations

from copy import copy

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from offload.core.foam.law import Series
from offload.core.pressure.foot import Spring
from offload.core.pressure.lattice import Lattice
from offload.core.pressure.plate import Numbering, Plate

__all__ = ["Carriers"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Places = NDArray[np.intp]


class Carriers:
    """Parts of cells that press back when the unknowns above them descend.

    Parameters
    ----------
    lattice, at, cells
        The cells and their unknowns.
    columns, gap_mm
        Law and gap of whole cells; without a plate only.
    plate
        Beside a wall one part of a cell stands on whole foam, bonded to it, and the other over the void.
    before_kpa
        Pressure before the cut [kPa], with a plate only.

    Attributes
    ----------
    law, weight, bonded
        Law of each part, its share of the cell, and whether it is pulled as well as pressed.
    onto
        Share of each unknown in the descent of each part, shape ``(parts, unknowns)``.
    level
        Unknowns before the cut [mm].
    dead
        Forces that make the state before the cut one at rest [kPa mm²], without those of the plate.

    Notes
    -----
    A part descends as its cell did before the cut and, beyond that, as the straight field between the cells'
    centres does at the part's middle; carried at the cell's centre instead, a wall in the outer half of its
    cells would hold too much. What the part carried before the cut it goes on to carry at the cell's centre,
    so that no cut changes nothing.
    """

    def __init__(
        self,
        lattice: Lattice,
        at: Numbering,
        cells: Mask,
        columns: Series,
        gap_mm: Array,
        plate: Plate | None,
        before_kpa: Array | None,
    ) -> None:
        self._area = lattice.area
        face = at.face
        if plate is None:
            self.law = Series.joined([(columns, cells)])
            self.place, self.gap = face[cells], gap_mm[cells]
            self.weight, self.bonded = np.ones(self.gap.size), np.zeros(self.gap.size, dtype=bool)
            offset = np.zeros((2, self.gap.size))
        else:
            beside, over = cells & (plate.share < 1), cells & (plate.share > 0)
            self.law = Series.joined([(plate.beside, beside), (plate.below, over)])
            share = plate.share[beside]
            places = [face[beside], face[over]]
            self.place = np.concatenate(places)
            self.gap = np.concatenate([np.zeros(places[0].size), plate.depth_mm[over]])
            self.weight = np.concatenate([1.0 - share, plate.share[over]])
            self.bonded = np.arange(self.gap.size) < places[0].size
            offset = np.concatenate(
                [-plate.middle_mm[:, beside] * share / (1.0 - share), plate.middle_mm[:, over]], axis=1
            )
        self.onto = _between_centres(self.place, offset, face, lattice, at.count)
        self._sum = self.onto.T
        self._uncut: Series | None = None
        if plate is not None:
            uncut = plate.beside if plate.uncut is None else plate.uncut
            self._uncut = Series.joined([(uncut, cells)])
        self._faces, self._cells = face[cells], cells
        self._low, self._high, self._factor, self._part = _pairs(self.onto)
        self._spots: tuple[Places, Places] | None = None
        self._begin(before_kpa)

    def under(self, before_kpa: Array) -> Carriers:
        """The same parts under another pressure before the cut [kPa]."""
        other = copy(self)
        other._begin(before_kpa)
        return other

    def _begin(self, before_kpa: Array | None) -> None:
        """Set what follows from the pressure before the cut."""
        count = self.onto.shape[1]
        self.level, self.dead = np.zeros(count), np.zeros(count)
        start = np.zeros(self.place.size)
        if self._uncut is not None and before_kpa is not None:
            before = before_kpa[self._cells]
            self.level[self._faces] = self._uncut.compression(before)
            start = self.level[self.place] - self.onto @ self.level
            self.dead[self._faces] = self._area * before
            carried = np.zeros(count)
            carried[self._faces] = before
            self.dead -= self._sum @ (self._area * self.weight * carried[self.place])
        self._start = start - self.gap

    @property
    def stiffness(self) -> Array:
        """First stiffness of each part's law [kPa/mm]."""
        return self.law.stiffness

    def pressed(self, q: Array, near: Spring | None) -> Spring:
        """The parts at a state of the unknowns."""
        return Spring.of(self.law, self.onto @ q + self._start, near, self.bonded)

    def forces(self, stress: Array) -> Array:
        """Forces on the unknowns at a stress of the parts [kPa mm²], those of before the cut moved to the
        centres.
        """
        return np.asarray(self._sum @ (self._area * self.weight * stress)) + self.dead

    def places(self) -> tuple[Places, Places]:
        """Pairs of unknowns that a part joins, the lower first."""
        return self._low, self._high

    def stiffen(self, band: Array, slope: Array) -> None:
        """Add the parts' stiffness at a slope [kPa/mm] to a symmetric band, lower storage, in Fortran's
        order.
        """
        if self._spots is None:
            spots, onto = np.unique(self._low * band.shape[0] + (self._high - self._low), return_inverse=True)
            self._spots = spots, onto
        spots, onto = self._spots
        value = self._factor * (self._area * self.weight * slope)[self._part]
        # All that is not a view of the band would lose what is added.
        flat = band.T.reshape(-1, copy=False)
        flat[spots] += np.bincount(onto, value, spots.size)


def _between_centres(place: Places, offset: Array, face: Places, lattice: Lattice, count: int) -> csr_array:
    """Straight interpolation between the centres of cells at an offset from one of them, shape ``(parts,
    unknowns)``.
    """
    ny, nx = face.shape
    rows = np.full(count, -1)
    columns = np.full(count, -1)
    j, i = np.nonzero(face >= 0)
    rows[face[j, i]], columns[face[j, i]] = j, i
    row, column = rows[place], columns[place]
    fx, fy = np.abs(offset[0]) / lattice.dx, np.abs(offset[1]) / lattice.dy
    beside = np.clip(column + np.where(offset[0] > 0, 1, -1), 0, nx - 1)
    beyond = np.clip(row + np.where(offset[1] > 0, 1, -1), 0, ny - 1)
    near = np.stack([face[row, beside], face[beyond, column], face[beyond, beside]])
    # Off the cells that are followed nothing moves: the part is then carried at its cell's centre.
    whole = (near >= 0).all(axis=0)
    fx, fy = np.where(whole, fx, 0.0), np.where(whole, fy, 0.0)
    near = np.where(whole, near, place)
    share = np.stack([(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy], axis=1)
    onto = np.stack([place, *near], axis=1)
    held = share > 0
    rows = np.concatenate([[0], np.cumsum(held.sum(axis=1))])
    made = csr_array((share[held], onto[held], rows), shape=(place.size, count))
    made.sum_duplicates()  # by the lattice's edge a cell is its own neighbour
    return made


def _pairs(onto: csr_array) -> tuple[Places, Places, Array, Places]:
    """Each pair of unknowns that a part joins, lower and higher, the product of their shares, and the
    part.
    """
    low, high, factor, part = [], [], [], []
    sizes = np.diff(onto.indptr)
    for size in np.unique(sizes):
        rows = np.flatnonzero(sizes == size)
        at = onto.indptr[rows][:, None] + np.arange(size)
        places, shares = onto.indices[at], onto.data[at]
        one, other = np.tril_indices(size)
        low.append(np.minimum(places[:, one], places[:, other]).ravel())
        high.append(np.maximum(places[:, one], places[:, other]).ravel())
        factor.append((shares[:, one] * shares[:, other]).ravel())
        part.append(np.repeat(rows, one.size))
    return tuple(np.concatenate(each) for each in (low, high, factor, part))  # type: ignore[return-value]
