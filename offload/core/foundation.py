"""The foundation: springs of tissue on coupled columns of foam, pressed by a rigid skeleton.

The model has two parameters per place, the column's stiffness and its shear coupling to the neighbours
(Pasternak 1954), because the layers left whole over a void span it. A bed of plain springs is its limit when the
coupling goes to nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from offload.core.foam import Series
from offload.core.lattice import Lattice, Load, SolverError
from offload.core.rigid import RigidFrame, Tangent, refuse_fault

__all__ = ["Foundation", "Settled", "Start"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST_STEPS = 80
CHORD = 1e-5
"""Residual below which the last factor serves again; the tangent hardly changes any more."""
TOLERANCE = 2e-7
"""Largest residual left: relative to the peak pressure in each cell, to the force and to force times reach."""
AT_REST = 1e-10
"""The same for the uncut foam, on which all else stands; relative to the peak pressure."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where an iteration begins: displacement [mm], rigid motion, and the foam pressure [kPa] if known."""

    displacement: Array
    motion: tuple[float, float, float] = (0.0, 0.0, 0.0)
    foam_kpa: Array | None = None


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
        Pressure that the columns themselves carry [kPa]; differs from the former by what the coupling shifts.
    load
        Force and moments of ``pressure_kpa``.
    steps, residual
        Newton steps, each with one factorisation, and the relative residual left.
    """

    displacement: Array
    motion: tuple[float, float, float]
    pressure_kpa: Array
    foam_kpa: Array
    load: Load
    steps: int
    residual: float

    def as_start(self) -> Start:
        """This state as the beginning of a neighbouring solve."""
        return Start(self.displacement, self.motion, self.foam_kpa)


class Foundation:
    """Foam columns with a void under or in them, coupled to their neighbours.

    Parameters
    ----------
    lattice
        The cells, shape ``(ny, nx)``.
    columns
        Law of the layers left in each column, shape ``(ny, nx)``.
    gap_mm
        Free depth of the void in each column [mm].
    coupling
        Shear coupling of each cell [kPa mm²·mm⁻¹ = N/mm x 1000].

    Notes
    -----
    With displacement ``u`` of the upper face, profile ``z`` and rigid motion ``(d, a, b)``::

        tissue   p = k_t max(0, z + d + a x + b y - u)
        foam     p = P(u - gap)+ - div(coupling grad u)

    and the force and both moments of ``p`` given. This is the stationary point of a convex potential. Newton's
    method: the cell system is banded and symmetric, so it is factored by a banded Cholesky; the three rigid
    unknowns are condensed out of it (Schur complement). Steps are searched along the slope of the potential.
    """

    def __init__(self, lattice: Lattice, columns: Series, gap_mm: Array, coupling: Array) -> None:
        shape = lattice.support.shape
        if columns.shape != shape or gap_mm.shape != shape or coupling.shape != shape:
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
        self._along_x = _between(coupling[:, :-1], coupling[:, 1:]) * (lattice.dy / lattice.dx)
        self._along_y = _between(coupling[:-1], coupling[1:]) * (lattice.dx / lattice.dy)
        self._along_x *= lattice.support[:, :-1] & lattice.support[:, 1:]
        self._along_y *= lattice.support[:-1] & lattice.support[1:]
        self._template = self._band()

    def _band(self) -> Array:
        """Lower band of the coupling matrix in LAPACK's storage, diagonal first."""
        ny, nx = self.lattice.support.shape
        diagonal = np.zeros((ny, nx))
        diagonal[:, :-1] += self._along_x
        diagonal[:, 1:] += self._along_x
        diagonal[:-1] += self._along_y
        diagonal[1:] += self._along_y
        # A cell over an open void with no coupling has no stiffness of its own; the trace of one keeps the
        # tangent regular. It is in the tangent only, never in the residual.
        diagonal += np.where(self.lattice.support, 1e-9 * self.lattice.area * self.columns.stiffness, 1.0)
        band = np.zeros((nx + 1, ny * nx), order="F")
        band[0] = diagonal.ravel()
        right = np.zeros((ny, nx))
        right[:, :-1] = -self._along_x
        band[1] = right.ravel()
        band[nx, : (ny - 1) * nx] += -self._along_y.ravel()
        return band

    def _spread(self, u: Array) -> Array:
        """Coupling matrix times displacement [kPa mm²]."""
        out = np.zeros_like(u)
        flow = self._along_x * (u[:, 1:] - u[:, :-1])
        out[:, :-1] -= flow
        out[:, 1:] += flow
        flow = self._along_y * (u[1:] - u[:-1])
        out[:-1] -= flow
        out[1:] += flow
        return out

    def _factor(self, stiffness: Array) -> Array:
        band = self._template.copy(order="F")
        band[0] += (self.lattice.area * stiffness).ravel()
        factor, info = dpbtrf(band, lower=1, overwrite_ab=1)
        if info:
            raise SolverError(
                f"the tangent is not positive definite in row {info}; the input is not a foundation."
            )
        return factor

    def settle(self, pressure_kpa: Array) -> Array:
        """Displacement [mm] of the foam's upper face under a given pressure [kPa].

        Raises
        ------
        SolverError
            When the iteration does not reach its tolerance.
        """
        area = self.lattice.area
        wanted = np.where(self.lattice.support, pressure_kpa, 0.0)
        scale = max(float(wanted.max()), 1e-6) * area
        u = self.gap_mm + self.columns.compression(wanted) * (wanted > 0)
        foam, slope = self.columns.pressure(u - self.gap_mm, wanted)
        rest = area * (foam - wanted) + self._spread(u)
        for _ in range(MOST_STEPS):
            if np.abs(rest).max() <= AT_REST * scale:
                return u
            step = -_solve(self._factor(slope), rest.reshape(-1, 1)).reshape(u.shape)
            before = float((rest * step).sum())
            size = 1.0
            for _ in range(40):
                trial = u + size * step
                foam, slope = self.columns.pressure(trial - self.gap_mm, foam)
                left = area * (foam - wanted) + self._spread(trial)
                now = float((left * step).sum())
                if now <= 0.5 * abs(before):
                    break
                size = _shorter(size, before, now)
            u, rest = trial, left
        raise SolverError(
            f"the uncut foam did not come to rest in {MOST_STEPS} steps: residual "
            f"{np.abs(rest).max() / scale:.1e}, limit {AT_REST:.0e}."
        )

    def press(
        self, profile_mm: Array, contact: Mask, tissue_kpa_mm: float, load: Load, start: Start | None = None
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

        Raises
        ------
        SolverError
            When the load cannot stand on the contact cells, or the tolerance is not reached.
        """
        lattice, area = self.lattice, self.lattice.area
        contact = contact & lattice.support
        _check_load(lattice, contact, tissue_kpa_mm, load)
        frame = RigidFrame(lattice, contact, load)
        u = np.zeros(contact.shape)
        motion = np.zeros(3)
        guess: Array | None = None
        last: tuple[Array, Array, Array] | None = None
        if start is not None:
            u, guess = start.displacement, start.foam_kpa
            motion = frame.into(start.motion)
        profile = np.where(contact, profile_mm, 0.0)
        scale = load.force_n * 1e3 / (float(contact.sum()) * area)
        clip = start is not None

        def state(u: Array, motion: Array, clip: bool) -> tuple[Array, Mask, Array, Array, Array, Array]:
            reach = profile + frame.plane(motion) - u
            touching = contact & (reach > 0) if clip else contact
            tissue = tissue_kpa_mm * reach * touching
            # Pressure is convex in compression, so the tangent's promise is near and never above the answer.
            near = guess if last is None else np.maximum(last[1] + last[2] * (u - last[0]), 0.0)
            foam, slope = self.columns.pressure(u - self.gap_mm, near)
            rest = area * (foam - tissue) + self._spread(u)
            return tissue, touching, foam, slope, rest, frame.sums(tissue) * area - frame.wanted

        tissue, touching, foam, slope, rest, rest_rigid = state(u, motion, clip)
        worst, tangent = np.inf, None
        for steps in range(MOST_STEPS):
            reached = worst
            peak = max(scale, float(tissue.max()))
            worst = max(
                float(np.abs(rest).max()) / (area * peak),
                float(np.abs(rest_rigid).max()) / (load.force_n * 1e3),
            )
            if clip and worst <= TOLERANCE:
                return Settled(
                    u,
                    frame.out_of(motion),
                    tissue,
                    foam,
                    lattice.load_of(tissue),
                    steps,
                    worst,
                )
            last = (u, foam, slope)
            # An old tangent is kept only while it halves the residual: across a cell that comes and goes it may not.
            if tangent is None or worst > CHORD or worst > 0.5 * reached:
                tangent = Tangent(
                    self._factor(slope + tissue_kpa_mm * touching), frame, tissue_kpa_mm * touching, area
                )
            step, rigid = tangent.step(rest, rest_rigid)
            before = float((rest * step).sum() + rest_rigid @ rigid)
            size = 1.0
            was_clipped, clip = clip, True
            for _ in range(40):
                trial, moved = u + size * step, motion + size * rigid
                tissue, touching, foam, slope, left, left_rigid = state(trial, moved, True)
                now = float((left * step).sum() + left_rigid @ rigid)
                if now <= 0.5 * abs(before) or not was_clipped:
                    break
                size = _shorter(size, before, now)
            u, motion, rest, rest_rigid = trial, moved, left, left_rigid
            if not np.all(np.isfinite(motion)):
                break
        raise SolverError(
            f"the cut foam did not come to rest in {MOST_STEPS} steps: residual {worst:.1e}, limit {TOLERANCE:.0e}."
        )


def _between(one: Array, other: Array) -> Array:
    """Coupling across a cell's side: the two half cells in series."""
    total = one + other
    return np.where(total > 0, 2.0 * one * other / np.where(total > 0, total, 1.0), 0.0)


def _solve(factor: Array, right: Array) -> Array:
    answer, info = dpbtrs(factor, np.asfortranarray(right), lower=1, overwrite_b=1)
    refuse_fault(info)
    return answer


def _shorter(size: float, slope_start: float, slope_end: float) -> float:
    """Where a straight slope from start to end is nothing, kept inside the middle of the step."""
    return size * min(max(slope_start / (slope_start - slope_end), 0.1), 0.9)


def _check_load(lattice: Lattice, contact: Mask, tissue: float, load: Load) -> None:
    if not (np.isfinite(tissue) and tissue > 0):
        raise SolverError(f"tissue stiffness is {tissue:g} kPa/mm; it must be above 0 kPa/mm.")
    if not (np.isfinite(load.force_n) and load.force_n > 0):
        raise SolverError(f"force is {load.force_n:g} N; it must be above 0 N.")
    rows, columns = np.nonzero(contact)
    if rows.size < 3:
        raise SolverError(f"contact has {rows.size} cells on foam; at least 3 are needed to carry a load.")
    x, y = lattice.x[columns], lattice.y[rows]
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
