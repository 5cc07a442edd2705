"""The foundation: springs of tissue on coupled columns of foam, pressed by a rigid skeleton.

Without a plate the model has two parameters per place, the column's stiffness and its shear coupling to the
neighbours (Pasternak 1954); a bed of plain springs is its limit when the coupling goes to nothing. With a
plate (``offload.core.pressure.plate``) the layers above a void bend and shear near it and stand on the foam
below beside it; further out each column stands alone, because the coupling of whole foam dies away within a
cell.
"""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded
from scipy.linalg.blas import dsbmv

from offload.core.foam.law import Series
from offload.core.pressure.carrier import Carriers
from offload.core.pressure.equilibrium import Settled, Start
from offload.core.pressure.foot import Foot, Spring
from offload.core.pressure.lattice import Lattice, Load, SolverError
from offload.core.pressure.line_search import LineSearch
from offload.core.pressure.plate import Plate, bending_energy, number, quadratic_band, shear_energy
from offload.core.pressure.rigid import Tangent

__all__ = ["TOLERANCE", "Foundation", "Settled", "Start"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST_STEPS = 80
TRACE = 1e-9
"""Stiffness of what nothing holds, as a share of its kind's own [-]."""
AGAIN = 0.2
"""The last factor serves again while it takes the residual down to this share [-]."""
TOLERANCE = 2e-7
"""Largest residual left: relative to the peak pressure in each cell, to the force and to force times reach.
"""
AT_REST = 1e-10
"""The same for foam alone; relative to the peak pressure."""


class Foundation:
    """Foam columns with a void under or in them, coupled to their neighbours.

    Parameters
    ----------
    lattice
        The cells, shape ``(ny, nx)``.
    columns
        Law of the layers in each column, shape ``(ny, nx)``, or of one that stands for all; without a plate
        of the layers left, with one of the whole foam.
    gap_mm
        Free depth of the void in each column [mm].
    coupling
        Shear coupling of each cell [kPa mm²·mm⁻¹ = N/mm x 1000]; without a plate only.
    plate
        The layers that span the void; without one the coupling spans it.
    before_kpa
        Pressure on the uncut foam [kPa], with a plate only. The plate resists what the cut changes of its
        shape, so that a cut of no depth changes nothing. None for an unloaded foam.

    Notes
    -----
    With displacement ``u`` of the upper face, profile ``z`` and rigid motion ``(d, a, b)``::

        tissue   p = k_t max(0, z + d + a x + b y - u)
        foam     p = P(u - gap)+ - div(coupling grad u)

    and the force and both moments of ``p`` given. Under a plate the unknown is the descent ``v`` of its lower
    face with the turns and slides beside it: tissue and plate are squeezed together between skeleton and
    ``v``, ``p`` bends and shears the plate, and ``P(v - gap)`` holds it from below, bonded where nothing is
    cut. Off the plate tissue and column are squeezed together between skeleton and ground. This is the
    stationary point of a convex potential. Newton's method: the system is banded and symmetric, so it is
    factored by a banded Cholesky; the three rigid unknowns are condensed out of it (Schur complement). Steps
    are searched along the slope of the potential.
    """

    def __init__(
        self,
        lattice: Lattice,
        columns: Series,
        gap_mm: Array,
        coupling: Array,
        plate: Plate | None = None,
        before_kpa: Array | None = None,
    ) -> None:
        shape = lattice.support.shape
        fitting = columns.shape in (shape, (1, 1))
        if not fitting or gap_mm.shape != shape or coupling.shape != shape:
            raise SolverError(
                f"columns, gap_mm and coupling are {columns.shape}, {gap_mm.shape} and {coupling.shape}; "
                f"all must have the lattice's shape {shape}."
            )
        if not (np.all(np.isfinite(coupling)) and np.all(coupling >= 0)):
            raise SolverError(f"coupling is {np.min(coupling):g} somewhere; it must be finite and 0 or more.")
        if not np.all(gap_mm >= 0):
            raise SolverError(f"gap_mm is {np.min(gap_mm):g} mm somewhere; it must be 0 mm or more.")
        self.lattice = lattice
        self.columns = columns
        self.gap_mm = gap_mm
        self.coupling = coupling
        self.plate = plate
        cells = lattice.support if plate is None else plate.window & lattice.support
        self._cells = cells
        self._at = number(cells, turning=plate is not None)
        self._face = self._at.face[cells]
        self._over = np.zeros(shape, dtype=bool) if plate is None else cells & (plate.share > 0)
        self._carriers = Carriers(lattice, self._at, cells, columns, gap_mm, plate, before_kpa)
        # What no pressure changes.
        self._fixed = [] if plate is None else bending_energy(plate, lattice, self._at)
        self._begin_from(self._band())

    def _begin_from(self, template: Array) -> None:
        """Set what follows from the pressure before the cut, with the band at it."""
        self._template = template
        self._work: Array | None = None
        self._level = self._carriers.level
        self._dead = -self._pull(self._level)

    def under(self, before_kpa: Array) -> Foundation:
        """The same cut foam under another pressure on the uncut one [kPa], shape ``(ny, nx)``; what no
        pressure changes is not made again. Without a plate it is this foam.
        """
        if self.plate is None:
            return self
        other = copy(self)
        other.plate = replace(self.plate, squeezed_kpa=before_kpa)
        other._carriers = self._carriers.under(before_kpa)
        other._begin_from(other._band())
        return other

    def _band(self) -> Array:
        """Band of the coupling or of the plate."""
        lattice, at, cells = self.lattice, self._at, self._cells
        # A cell over an open void with no coupling has no stiffness of its own, and a plate none of whose
        # cells is bonded may slide as a whole; a trace of one keeps the tangent regular. It is in the tangent
        # only, never in the residual.
        carriers = self._carriers
        self._trace = TRACE * lattice.area * np.bincount(carriers.place, carriers.stiffness, at.count)
        if self.plate is not None:
            room = np.stack(carriers.places(), axis=1), np.zeros((2, 2))
            shear = shear_energy(self.plate, lattice, at)
            band = quadratic_band([*shear, *self._fixed, room], at.count)
            for places in at.beside:
                held = places[places >= 0]
                # Slides over a void that is all of a patch of foam two cells wide have none to take it from.
                self._trace[held] += TRACE * max(band[0, held].max(initial=0.0), lattice.area)
            return band
        forms = []
        for near, far, size in (
            ((slice(None), slice(None, -1)), (slice(None), slice(1, None)), lattice.dx),
            ((slice(None, -1),), (slice(1, None),), lattice.dy),
        ):
            joined = cells[near] & cells[far]
            strength = _between(self.coupling[near], self.coupling[far])[joined] * (lattice.area / size**2)
            places = np.stack([at.face[near][joined], at.face[far][joined]], axis=1)
            forms.append((places, strength[:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])))
        return quadratic_band(forms, at.count)

    def _spread(self, u: Array) -> Array:
        """Coupling matrix times displacement [kPa mm²], without a plate."""
        out = np.zeros_like(u)
        out[self._cells] = self._pull(u[self._cells])
        return out

    def _pull(self, q: Array) -> Array:
        """Forces of the coupling or of the plate on the unknowns."""
        return np.asarray(dsbmv(self._template.shape[0] - 1, 1.0, self._template, q, lower=1))

    def _factor(self, slope: Array, stiffness: Array | float = 0.0) -> Array:
        """Factor of the tangent: slope of each column, and stiffness of what presses each face [kPa/mm]."""
        area = self.lattice.area
        if self._work is None:
            self._work = np.empty_like(self._template, order="F")
        # The factor before is done with; new memory of this size costs as much as the factor.
        band = self._work
        np.copyto(band, self._template)
        self._carriers.stiffen(band, slope)
        band[0] += self._trace
        band[0, self._face] += area * stiffness
        try:
            return np.asarray(cholesky_banded(band, overwrite_ab=True, lower=True, check_finite=False))
        except LinAlgError as error:
            raise SolverError(
                f"the tangent is not positive definite ({error}); the input is not a foundation."
            ) from error

    def _carried(self, q: Array, near: Spring | None) -> tuple[Spring, Array]:
        """What the columns carry, and the forces of the foam [kPa mm²]."""
        columns = self._carriers.pressed(q, near)
        return columns, self._pull(q) + self._dead + self._carriers.forces(columns.stress)

    def _begin(self, start: Start | None) -> Array:
        """Unknowns of a start; without a roof the plate begins as before the cut."""
        q = self._level.copy()
        if start is None:
            return q
        if self.plate is None:
            q[self._face] = start.displacement[self._cells]
        elif start.roof is not None:
            q[self._face] = start.roof[0][self._cells]
            for values, places in zip(start.roof[1:5], self._at.beside, strict=True):
                q[places[places >= 0]] = values[places >= 0]
            # Foam beside the wall begins no deeper than half as much again as before the cut.
            kept = self._carriers.place[self._carriers.bonded]
            q[kept] = np.minimum(q[kept], 1.5 * self._level[kept])
            # What pressed on the ground of the void begins by pressing on it as much.
            over, plate = self._over, self.plate
            ground, pressed = plate.depth_mm[over], np.maximum(start.roof[5][over], 0.0)
            q[self._at.face[over]] = np.where(
                pressed > 0,
                ground + plate.below.compression(pressed),
                np.minimum(q[self._at.face[over]], ground),
            )
        return q

    def settle(self, pressure_kpa: Array) -> Array:
        """Displacement [mm] of the foam's upper face under a given pressure [kPa], without a plate.

        Raises
        ------
        SolverError
            When the iteration does not reach its tolerance.
        """
        area, cells = self.lattice.area, self._cells
        wanted = np.zeros(self._at.count)
        wanted[self._face] = area * pressure_kpa[cells]
        scale = max(float(wanted.max()), 1e-6 * area)
        loaded = np.where(cells, pressure_kpa, 0.0)
        q = self._begin(Start(self.gap_mm + self.columns.compression(loaded) * (loaded > 0)))
        columns, forces = self._carried(q, None)
        factor, worst = None, np.inf
        for _ in range(MOST_STEPS):
            rest = forces - wanted
            reached, worst = worst, float(np.abs(rest).max()) / scale
            if worst <= AT_REST:
                out = np.zeros(cells.shape)
                out[cells] = q[self._face]
                return out
            if factor is None or worst > AGAIN * reached:
                factor = self._factor(columns.slope)
            step = -cho_solve_banded((factor, True), rest, check_finite=False)
            near, search = columns, LineSearch(float(rest @ step))
            while search.goes_on:
                columns, forces = self._carried(q + search.size * step, near)
                search.told(float((forces - wanted) @ step))
            q = q + search.size * step
        raise SolverError(
            f"the uncut foam did not come to rest in {MOST_STEPS} steps: residual "
            f"{worst:.1e}, limit {AT_REST:.0e}."
        )

    def press(
        self,
        profile_mm: Array,
        contact: Mask,
        tissue_kpa_mm: float,
        load: Load,
        start: Start | None = None,
        tolerance: float = TOLERANCE,
    ) -> Settled:
        """Press a foot of a given profile onto the foundation with a given force and moments.

        Parameters
        ----------
        profile_mm
            How far the skeleton stands down in each cell [mm], shape ``(ny, nx)``.
        contact
            Cells that have a foot above them, shape ``(ny, nx)``.
        tissue_kpa_mm
            Stiffness of the plantar tissue [kPa/mm].
        load
            Force and moments to be carried.
        start
            A state nearby; without one the foot is first taken to touch everywhere.
        tolerance
            Largest residual left, relative to the peak pressure in each cell, to the force and to force times
            reach.

        Raises
        ------
        SolverError
            When the load cannot stand on the contact cells, or the tolerance is not reached.
        """
        lattice, area = self.lattice, self.lattice.area
        contact = contact & lattice.support
        _check_load(lattice, contact, tissue_kpa_mm, load)
        above = None if self.plate is None else self.plate.above
        foot = Foot(lattice, profile_mm, contact, tissue_kpa_mm, load, self._at.face, above, self.columns)
        q = self._begin(start)
        motion = np.zeros(3) if start is None else foot.frame.into(start.motion)
        scale = load.force_n * 1e3 / (float(contact.sum()) * area)
        clip = start is not None
        columns, forces = self._carried(q, None)
        pressed = foot.press(q, motion, None, clip)
        worst, tangent = np.inf, None
        for steps in range(MOST_STEPS):
            rest = forces - area * foot.upon(pressed.pressure, q.size)
            reached, peak = worst, max(scale, float(pressed.pressure.max()))
            worst = max(
                float(np.abs(rest).max()) / (area * peak),
                float(np.abs(pressed.rest).max()) / (load.force_n * 1e3),
            )
            if clip and worst <= tolerance:
                return self._settled(q, foot, motion, pressed.pressure, columns, steps, worst)
            if tangent is None or worst > AGAIN * reached:
                upon = foot.upon(pressed.slope, q.size)[self._face]
                tangent = Tangent(
                    self._factor(columns.slope, upon), foot.frame, pressed.slope, foot.place, area
                )
            step, rigid = tangent.step(rest, pressed.rest)
            search = LineSearch(float(rest @ step + pressed.rest @ rigid))
            was_clipped, clip = clip, True
            near, before = columns, pressed
            while search.goes_on:
                trial, moved = q + search.size * step, motion + search.size * rigid
                columns, forces = self._carried(trial, near)
                pressed = foot.press(trial, moved, before)
                pull = area * foot.upon(pressed.pressure, q.size)
                search.told(float((forces - pull) @ step + pressed.rest @ rigid) if was_clipped else 0.0)
            q, motion = trial, moved
            if not np.all(np.isfinite(motion)):
                break
        raise SolverError(
            f"the cut foam did not come to rest in {MOST_STEPS} steps: residual {worst:.1e}, limit "
            f"{tolerance:.0e}."
        )

    def _settled(
        self, q: Array, foot: Foot, motion: Array, pressure: Array, columns: Spring, steps: int, worst: float
    ) -> Settled:
        """The state that was reached, laid out on the lattice."""
        lattice, plate, cells, over = self.lattice, self.plate, self._cells, self._over
        grid = np.zeros(cells.shape)
        grid[foot.cells] = pressure
        roof = np.zeros((6, *cells.shape))
        roof[0][cells] = q[self._face]
        if plate is None:
            foam = np.zeros(cells.shape)
            foam[cells] = columns.stress
            face, lower = roof[0], foam
        else:
            foam, lower = grid, grid.copy()
            face = np.where(cells, roof[0] + plate.above.compression(grid), self.columns.compression(grid))
            roof[0] = np.where(cells, roof[0], face)
            beside = int(self._carriers.bonded.sum())
            lower[cells & (plate.share < 1)] = columns.stress[:beside]
            # A cell half over the void and half on foam shows the larger half.
            lower[over] = np.where(plate.share[over] >= 0.5, columns.stress[beside:], lower[over])
            for values, places in zip(roof[1:5], self._at.beside, strict=True):
                values[places >= 0] = q[places[places >= 0]]
            roof[5][over] = columns.stress[beside:]
        load = lattice.load_of(grid)
        return Settled(face, foot.frame.out_of(motion), grid, foam, lower, roof, load, steps, worst)


def _between(one: Array, other: Array) -> Array:
    """Coupling across a cell's side, without a plate: the two half cells in series."""
    total = one + other
    return np.where(total > 0, 2.0 * one * other / np.where(total > 0, total, 1.0), 0.0)


def _check_load(lattice: Lattice, contact: Mask, tissue: float, load: Load) -> None:
    if not (np.isfinite(tissue) and tissue > 0):
        raise SolverError(f"tissue stiffness is {tissue:g} kPa/mm; it must be above 0 kPa/mm.")
    if not (np.isfinite(load.force_n) and load.force_n > 0):
        raise SolverError(f"force is {load.force_n:g} N; it must be above 0 N.")
    count = int(contact.sum())
    if count < 3:
        raise SolverError(f"contact has {count} cells on foam; at least 3 are needed to carry a load.")
    # What reaches furthest in any direction is the first or the last cell of a row.
    held = np.flatnonzero(contact.any(axis=1))
    ends = contact[held].argmax(axis=1), contact.shape[1] - 1 - contact[held, ::-1].argmax(axis=1)
    x, y = lattice.x[np.concatenate(ends)], np.tile(lattice.y[held], 2)
    cx, cy = load.moment_x / load.force_n, load.moment_y / load.force_n
    turn = np.arange(16) * (np.pi / 8)
    across, along = np.cos(turn), np.sin(turn)
    reach = (across[:, None] * x + along[:, None] * y).max(axis=1) + 0.5 * (
        np.abs(across) * lattice.dx + np.abs(along) * lattice.dy
    )
    if np.any(across * cx + along * cy > reach):
        raise SolverError(
            f"the load stands at x {cx:.1f}, y {cy:.1f} mm; it must stand within the cells in contact "
            f"(x {x.min():.1f} to {x.max():.1f}, y {y.min():.1f} to {y.max():.1f} mm)."
        )
