"""A finite-element run of a foam stack with a void under a foot, by scikit-fem: plane strain, small strains.

The foot is flat and rigid, with tissue springs below it that push and never pull; the layers are bonded to one another
and to the ground. Half of the strip is meshed, with a plane of symmetry at both ends. Poisson's ratio of foam in
compression is taken as 0, as in the foundation, so the stress is E times the strain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Strip", "press_strip"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Strip:
    """Pressure [kPa] at points x [mm] of the upper face with their weights [mm], and the size of the system."""

    x: Array
    pressure_kpa: Array
    weight: Array
    unknowns: int
    most_closed: float

    def mean(self, low: float, high: float) -> float:
        """Mean pressure between two distances from the middle [kPa]."""
        here = (self.x > low) & (self.x < high)
        return float((self.pressure_kpa * self.weight)[here].sum() / self.weight[here].sum())

    def peak(self, low: float, high: float) -> float:
        """Highest pressure between two distances from the middle [kPa]."""
        return float(self.pressure_kpa[(self.x > low) & (self.x < high)].max())


def press_strip(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    cut: int,
    half_width: float,
    descent: float,
    tissue: float,
    reach: float = 60.0,
    size: float = 0.5,
) -> Strip:
    """Press a foot down by a descent [mm] onto layers (from the foot down) of which one is cut out in the middle."""
    from skfem import (
        Basis,
        BilinearForm,
        ElementQuad2,
        ElementVector,
        FacetBasis,
        LinearForm,
        MeshQuad,
        condense,
        solve,
    )
    from skfem.helpers import ddot, sym_grad

    def steps(a: float, b: float) -> Array:
        return np.linspace(a, b, max(2, round((b - a) / size)) + 1)

    faces = np.concatenate([[0.0], np.cumsum(thickness_mm[::-1])])  # from the ground up
    x = np.unique(np.concatenate([steps(0.0, half_width), steps(half_width, reach)]))
    z = np.unique(np.concatenate([steps(a, b) for a, b in zip(faces, faces[1:], strict=False)]))
    mesh = MeshQuad.init_tensor(x, z)
    floor, roof = faces[len(faces) - 2 - cut], faces[len(faces) - 1 - cut]
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.remove_elements(
        np.flatnonzero((middle[0] < half_width) & (middle[1] > floor) & (middle[1] < roof))
    )
    layer = np.searchsorted(faces, mesh.p[:, mesh.t].mean(axis=1)[1]) - 1
    modulus = np.array(modulus_kpa)[::-1][layer]
    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element)

    @BilinearForm
    def foam(u, v, w):
        return w["modulus"] * ddot(sym_grad(u), sym_grad(v))

    @BilinearForm
    def spring(u, v, w):
        return w["touching"] * u[1] * v[1]

    @LinearForm
    def push(v, w):
        return -descent * w["touching"] * v[1]

    stiffness = foam.assemble(basis, modulus=np.repeat(modulus[:, None], basis.X.shape[-1], axis=1))
    top = FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda at: np.isclose(at[1], faces[-1])))
    held = np.unique(
        np.concatenate(
            [
                basis.get_dofs(lambda at: np.isclose(at[1], 0.0)).all(),
                basis.get_dofs(lambda at: np.isclose(at[0], 0.0)).all(["u^1"]),
                basis.get_dofs(lambda at: np.isclose(at[0], reach)).all(["u^1"]),
            ]
        )
    )
    touching = np.full(top.dx.shape, True)
    for _ in range(50):
        springs = tissue * touching.astype(float)
        u = solve(
            *condense(
                stiffness + spring.assemble(top, touching=springs),
                push.assemble(top, touching=springs),
                D=held,
            )
        )
        gap = descent + top.interpolate(u)[1]
        if np.array_equal(gap > 0, touching):
            break
        touching = gap > 0
    else:
        raise AssertionError("contact did not settle")
    roof_dofs = basis.get_dofs(lambda at: np.isclose(at[1], roof) & (at[0] < half_width + 1e-9)).all(["u^2"])
    return Strip(
        top.global_coordinates()[0].ravel(),
        np.maximum(tissue * gap, 0.0).ravel(),
        top.dx.ravel(),
        basis.N,
        float(-u[roof_dofs].min() / (roof - floor)),
    )


VOID_KPA, VOID_LOCKING = 0.1, 0.99
"""The void as a foam next to nothing that locks when it is closed (a third medium): it stands for contact of roof and floor."""


def close_strip(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    locking: tuple[float, ...],
    cut: int,
    half_width: float,
    descent: float,
    tissue: float,
    reach: float = 60.0,
    size: float = 1.0,
) -> Strip:
    """The same with the foam's own law across the layers, ``s = E e / (1 - e / e_d)``, and a void that may close.

    Along the layers and in shear the foam keeps its first modulus. Strains stay small in the geometry: the layers do not
    turn. The foot comes down in steps, each brought to rest by Newton's method.
    """
    from skfem import (
        Basis,
        BilinearForm,
        ElementQuad2,
        ElementVector,
        FacetBasis,
        LinearForm,
        MeshQuad,
        condense,
        solve,
    )
    from skfem.helpers import sym_grad

    def steps(a: float, b: float, least: int = 2) -> Array:
        return np.linspace(a, b, max(least, round((b - a) / size)) + 1)

    faces = np.concatenate([[0.0], np.cumsum(thickness_mm[::-1])])
    x = np.unique(np.concatenate([steps(0.0, half_width), steps(half_width, reach)]))
    z = np.unique(np.concatenate([steps(a, b, 4) for a, b in zip(faces, faces[1:], strict=False)]))
    mesh = MeshQuad.init_tensor(x, z)
    floor, roof = faces[len(faces) - 2 - cut], faces[len(faces) - 1 - cut]
    middle = mesh.p[:, mesh.t].mean(axis=1)
    layer = np.searchsorted(faces, middle[1]) - 1
    void = (middle[0] < half_width) & (middle[1] > floor) & (middle[1] < roof)
    modulus = np.where(void, VOID_KPA, np.array(modulus_kpa)[::-1][layer])[:, None]
    lock = np.where(void, VOID_LOCKING, np.array(locking)[::-1][layer])[:, None]
    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element)
    top = FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda at: np.isclose(at[1], faces[-1])))
    held = np.unique(
        np.concatenate(
            [
                basis.get_dofs(lambda at: np.isclose(at[1], 0.0)).all(),
                basis.get_dofs(lambda at: np.isclose(at[0], 0.0)).all(["u^1"]),
                basis.get_dofs(lambda at: np.isclose(at[0], reach)).all(["u^1"]),
            ]
        )
    )

    @BilinearForm
    def tangent(u, v, w):
        e, f = sym_grad(u), sym_grad(v)
        return w["soft"] * (e[0, 0] * f[0, 0] + 2 * e[0, 1] * f[0, 1]) + w["hard"] * e[1, 1] * f[1, 1]

    @LinearForm
    def inner(v, w):
        f = sym_grad(v)
        return w["xx"] * f[0, 0] + 2 * w["xz"] * f[0, 1] + w["zz"] * f[1, 1]

    @BilinearForm
    def spring(u, v, w):
        return w["touching"] * u[1] * v[1]

    @LinearForm
    def push(v, w):
        return -w["pressure"] * v[1]

    def across(strain: Array) -> tuple[Array, Array]:
        """Stress across the layers and its slope; past 0.995 of the locking strain along the tangent."""
        e = np.minimum(-strain, 0.995 * lock)
        left = 1.0 - np.maximum(e, 0.0) / lock
        slope = modulus / left**2
        return -(modulus * e / left + slope * (-strain - e)), slope

    def forces(u: Array, down: float) -> tuple[Array, Array, Array]:
        strain = np.asarray(sym_grad(basis.interpolate(u)))
        zz, hard = across(strain[1, 1])
        gap = down + top.interpolate(u)[1]
        rest = inner.assemble(basis, xx=modulus * strain[0, 0], xz=modulus * strain[0, 1], zz=zz)
        rest -= push.assemble(top, pressure=tissue * np.maximum(gap, 0.0))
        return rest, hard, gap

    free = np.setdiff1d(np.arange(basis.N), held)
    u = np.zeros(basis.N)
    soft = np.broadcast_to(modulus, (mesh.nelements, basis.X.shape[-1]))
    for down in np.linspace(0.0, descent, 9)[1:]:
        rest, hard, gap = forces(u, down)
        for _ in range(60):
            if np.abs(rest[free]).max() <= 1e-6 * tissue:
                break
            matrix = tangent.assemble(basis, soft=soft, hard=hard)
            matrix = matrix + spring.assemble(top, touching=tissue * (gap > 0.0))
            step = solve(*condense(matrix, -rest, D=held))
            before, share = float(rest[free] @ step[free]), 1.0
            for _ in range(30):
                rest, hard, gap = forces(u + share * step, down)
                if float(rest[free] @ step[free]) <= 0.5 * abs(before):
                    break
                share /= 2.0
            u = u + share * step
        else:
            raise AssertionError(f"the strip did not come to rest at {down:g} mm")
    gap = descent + top.interpolate(u)[1]
    roof_dofs = basis.get_dofs(lambda at: np.isclose(at[1], roof) & (at[0] < half_width + 1e-9)).all(["u^2"])
    floor_dofs = basis.get_dofs(lambda at: np.isclose(at[1], floor) & (at[0] < half_width + 1e-9)).all(
        ["u^2"]
    )
    closed = (u[floor_dofs].max() if floor > 0 else 0.0) - u[roof_dofs].min()
    return Strip(
        top.global_coordinates()[0].ravel(),
        np.maximum(tissue * gap, 0.0).ravel(),
        top.dx.ravel(),
        basis.N,
        float(closed / (roof - floor)),
    )
