"""The same foundation solved the straightforward way: its energy handed to a general minimiser of SciPy.

Written from the equations alone: the column law is inverted by a bracketing root finder and the energy of a column
comes from its closed integral, so nothing of the program's own solver is used but the numbers that describe the foot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise, minimize

__all__ = ["Bed", "Found", "solve"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Bed:
    """A cut insole under a foot.

    Attributes
    ----------
    x, y
        Cell centres [mm]; ``size`` their distance [mm]; ``support`` which cells are foam, ``contact`` which have a
        foot above them.
    left_mm, modulus_kpa, locking
        Thickness left of each layer, shape ``(layers, ny, nx)`` [mm]; modulus [kPa] and locking strain of each.
    gap_mm, coupling
        Void [mm] and shear coupling [kPa mm] of each cell.
    profile_mm, tissue
        The skeleton above the foam [mm] and the stiffness of the tissue [kPa/mm].
    force_n, moment_x, moment_y
        The load [N, N mm].
    """

    x: Array
    y: Array
    size: float
    support: NDArray[np.bool_]
    contact: NDArray[np.bool_]
    left_mm: Array
    modulus_kpa: Array
    locking: Array
    gap_mm: Array
    coupling: Array
    profile_mm: Array
    tissue: float
    force_n: float
    moment_x: float
    moment_y: float


@dataclass(frozen=True)
class Found:
    """Displacement [mm], pressure under the foot [kPa] and how many times the energy was asked for."""

    displacement: Array
    pressure_kpa: Array
    calls: int


def solve(bed: Bed, tolerance: float = 1e-9) -> Found:
    """Minimise the energy over the displacements of all cells and the rigid motion, from rest."""
    cells = np.nonzero(bed.support)
    place = np.full(bed.support.shape, -1)
    place[cells] = np.arange(cells[0].size)
    a = (bed.left_mm / bed.modulus_kpa[:, None, None])[:, *cells]
    b = (1.0 / (bed.modulus_kpa * bed.locking))[:, None]
    gap, contact, profile = bed.gap_mm[cells], bed.contact[cells], bed.profile_mm[cells]
    area = bed.size**2
    cx, cy = bed.moment_x / bed.force_n, bed.moment_y / bed.force_n
    reach = 100.0  # slopes in hundredths of a millimetre per mm, so that all unknowns are of one size
    basis = np.stack([np.ones(gap.size), (bed.x[cells[1]] - cx) / reach, (bed.y[cells[0]] - cy) / reach])
    one, other, strength = [], [], []
    for to in (place[:, 1:], place[1:]):
        start = place[:, :-1] if to.shape[1] < place.shape[1] else place[:-1]
        both = (start >= 0) & (to >= 0)
        one.append(start[both])
        other.append(to[both])
    i, j = np.concatenate(one), np.concatenate(other)
    g = bed.coupling[cells]
    strength = 2.0 * g[i] * g[j] / np.maximum(g[i] + g[j], 1e-300)
    calls = 0

    def column(w: Array) -> tuple[Array, Array]:
        """Pressure and energy of columns compressed by w."""
        used = w > 0
        p = np.zeros(w.size)
        if used.any():
            own = a[:, used]

            def miss(stress: Array, i: Array, wanted: Array) -> Array:
                return (own[:, i] * stress / (1.0 + b * stress)).sum(axis=0) - wanted

            index = np.arange(own.shape[1])
            top = np.full(index.size, 1e5)
            p[used] = elementwise.find_root(
                miss,
                (np.zeros(index.size), top),
                args=(index, w[used]),
                tolerances={"xatol": 1e-10, "xrtol": 1e-13},
            ).x
        energy = p * w - (a * (p / b - np.log1p(b * p) / b**2)).sum(axis=0)
        return p, np.where(used, energy, 0.0)

    def energy(unknowns: Array) -> tuple[float, Array]:
        nonlocal calls
        calls += 1
        u, motion = unknowns[:-3], unknowns[-3:]
        press = bed.tissue * np.maximum(profile + motion @ basis - u, 0.0) * contact
        p, stored = column(u - gap)
        stretch = u[j] - u[i]
        pull = strength * stretch
        value = area * ((press**2).sum() / (2.0 * bed.tissue) + stored.sum()) + 0.5 * (pull * stretch).sum()
        value -= bed.force_n * 1e3 * motion[0]
        slope = area * (p - press)
        np.add.at(slope, i, -pull)
        np.add.at(slope, j, pull)
        rigid = area * (basis @ press) - np.array([bed.force_n * 1e3, 0.0, 0.0])
        scale = bed.force_n * 1e3
        return value / scale, np.concatenate([slope, rigid]) / scale

    start = np.concatenate([gap * 0.0, [0.0, 0.0, 0.0]])
    found = minimize(
        energy,
        start,
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 50_000, "maxfun": 100_000, "ftol": 0.0, "gtol": tolerance, "maxcor": 30},
    )
    u, motion = found.x[:-3], found.x[-3:]
    displacement, pressure = np.zeros(bed.support.shape), np.zeros(bed.support.shape)
    displacement[cells] = u
    pressure[cells] = bed.tissue * np.maximum(profile + motion @ basis - u, 0.0) * contact
    return Found(displacement, pressure, calls)
