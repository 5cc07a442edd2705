"""The rigid skeleton over the foam: its three motions, and the tangent with them condensed out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded

from offload.core.lattice import Lattice, Load

__all__ = ["RigidFrame", "Tangent"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


class RigidFrame:
    """Rigid motion about the middle of the contact, in lengths of its reach, so that the 3 x 3 system is even.

    ``cells`` are those that carry, in one row in the order of the lattice.
    """

    def __init__(self, lattice: Lattice, cells: Mask, load: Load) -> None:
        self._cx = load.moment_x / load.force_n
        self._cy = load.moment_y / load.force_n
        self._reach = max(float(np.ptp(lattice.x)), float(np.ptp(lattice.y)), lattice.dx, lattice.dy) / 2
        rows, columns = np.nonzero(cells)
        x = (lattice.x[columns] - self._cx) / self._reach
        y = (lattice.y[rows] - self._cy) / self._reach
        self.basis = np.stack([np.ones(x.size), x, y])
        # Moments about the resultant itself are nothing.
        self.wanted = np.array([load.force_n * 1e3, 0.0, 0.0])

    def plane(self, motion: Array) -> Array:
        """Descent of the skeleton in each cell [mm]."""
        return motion[0] + motion[1] * self.basis[1] + motion[2] * self.basis[2]

    def sums(self, pressure: Array) -> Array:
        """Sum of a pressure and of its moments over the cells, in the frame's own lengths."""
        return self.basis @ pressure

    def into(self, motion: tuple[float, float, float]) -> Array:
        """A motion about the origin [mm, -, -] in the frame's own lengths."""
        d, a, b = motion
        return np.array([d + a * self._cx + b * self._cy, a * self._reach, b * self._reach])

    def out_of(self, motion: Array) -> tuple[float, float, float]:
        """The inverse of ``into``."""
        a, b = float(motion[1] / self._reach), float(motion[2] / self._reach)
        return float(motion[0]) - a * self._cx - b * self._cy, a, b


class Tangent:
    """The factored tangent: cells by their banded Cholesky factor, the three rigid unknowns by their complement.

    ``stiffness`` is that of each cell of contact [kPa/mm] and ``place`` the unknown it presses upon, -1 for the ground.
    """

    def __init__(
        self, factor: Array, frame: RigidFrame, stiffness: Array, place: NDArray[np.intp], area: float
    ) -> None:
        self._factor = factor
        pull = frame.basis * (area * stiffness)
        own = pull @ frame.basis.T
        held = place >= 0
        self._pull = np.zeros((factor.shape[1], 3))
        self._pull[place[held]] = pull[:, held].T
        self._yield = self._solve(self._pull)
        schur = own - self._pull.T @ self._yield
        self._schur = schur + np.eye(3) * (1e-12 * np.trace(schur) + 1e-30)

    def _solve(self, right: Array) -> Array:
        """What the cells do under given forces while the skeleton stands still."""
        return np.asarray(cho_solve_banded((self._factor, True), right, check_finite=False))

    def step(self, rest: Array, rest_rigid: Array) -> tuple[Array, Array]:
        """Newton step of all unknowns and of the rigid motion that takes the given residuals away."""
        alone = self._solve(-rest)
        rigid = np.linalg.solve(self._schur, self._pull.T @ alone - rest_rigid)
        return alone + self._yield @ rigid, rigid
