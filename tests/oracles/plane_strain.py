"""A finite-element run of a foam stack with a void under a foot, by scikit-fem: plane strain or round, small
strains.

The foot is flat and rigid, with tissue springs below it that push and never pull; the layers are bonded to
one another and to the ground. Half of the strip is meshed, with a plane of symmetry at both ends; round a
void the same section turns about its middle (axisymmetric). Poisson's ratio of foam in compression is taken
as 0, as in the foundation, so the stress is E times the strain.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:  # the tests are collected where the reference library is not installed
    from skfem import Basis, ElementVector, FacetBasis, MeshQuad

__all__ = ["Strip", "close_round", "close_strip", "press_strip", "pressed_round"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Strip:
    """Pressure [kPa] at points x [mm] of the upper face with their weights, and the size of the system.

    Weights are lengths [mm] of a strip and areas over 2 pi [mm²] round a void.
    """

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


@dataclass(frozen=True)
class _Cut:
    """The meshed half of a strip: its faces from the ground up, the void's floor and roof, and each
    element's place.
    """

    mesh: MeshQuad
    faces: Array
    floor: float
    roof: float
    layer: NDArray[np.intp]
    in_void: NDArray[np.bool_]


def _meshed(
    thickness_mm: tuple[float, ...], cut: int, half_width: float, reach: float, size: float, least: int
) -> _Cut:
    """Mesh the strip, the void's place included, with `least` elements or more across a layer."""
    from skfem import MeshQuad

    def steps(a: float, b: float, fewest: int = 2) -> Array:
        return np.linspace(a, b, max(fewest, round((b - a) / size)) + 1)

    faces = np.concatenate([[0.0], np.cumsum(thickness_mm[::-1])])
    x = np.unique(np.concatenate([steps(0.0, half_width), steps(half_width, reach)]))
    z = np.unique(np.concatenate([steps(a, b, least) for a, b in zip(faces, faces[1:], strict=False)]))
    mesh = MeshQuad.init_tensor(x, z)
    floor, roof = faces[len(faces) - 2 - cut], faces[len(faces) - 1 - cut]
    middle = mesh.p[:, mesh.t].mean(axis=1)
    in_void = (middle[0] < half_width) & (middle[1] > floor) & (middle[1] < roof)
    return _Cut(mesh, faces, floor, roof, np.searchsorted(faces, middle[1]) - 1, in_void)


def _top(mesh: MeshQuad, element: ElementVector, height: float) -> FacetBasis:
    """The face under the foot."""
    from skfem import FacetBasis

    return FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda at: np.isclose(at[1], height)))


def _held(basis: Basis, reach: float) -> NDArray[np.intp]:
    """Unknowns that stay: all on the ground, those across at both planes of symmetry."""
    return np.unique(
        np.concatenate(
            [
                basis.get_dofs(lambda at: np.isclose(at[1], 0.0)).all(),
                basis.get_dofs(lambda at: np.isclose(at[0], 0.0)).all(["u^1"]),
                basis.get_dofs(lambda at: np.isclose(at[0], reach)).all(["u^1"]),
            ]
        )
    )


def _down(basis: Basis, height: float, half_width: float) -> NDArray[np.intp]:
    """Unknowns of descent along a face of the void."""
    return basis.get_dofs(lambda at: np.isclose(at[1], height) & (at[0] < half_width + 1e-9)).all(["u^2"])


def _strip(
    top: FacetBasis, gap: Array, tissue: float, unknowns: int, most_closed: float, turned: bool = False
) -> Strip:
    x = top.global_coordinates()[0]
    return Strip(
        x.ravel(),
        np.maximum(tissue * gap, 0.0).ravel(),
        (top.dx * (x if turned else 1.0)).ravel(),
        unknowns,
        most_closed,
    )


def _springs(top: FacetBasis, touching: Array, turned: bool = False) -> NDArray[np.float64]:
    """Stiffness of the tissue where it touches."""
    from skfem import BilinearForm

    @BilinearForm
    def spring(u, v, w):
        return (w.x[0] if turned else 1.0) * w["touching"] * u[1] * v[1]

    return spring.assemble(top, touching=touching)


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
    """Press a foot down by a descent [mm] onto layers (from the foot down) of which one is cut out in the
    middle.
    """
    from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, LinearForm, condense, solve
    from skfem.helpers import ddot, sym_grad

    whole = _meshed(thickness_mm, cut, half_width, reach, size, 2)
    mesh = whole.mesh.remove_elements(np.flatnonzero(whole.in_void))
    modulus = np.array(modulus_kpa)[::-1][whole.layer[~whole.in_void]]
    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element)

    @BilinearForm
    def foam(u, v, w):
        return w["modulus"] * ddot(sym_grad(u), sym_grad(v))

    @LinearForm
    def push(v, w):
        return -descent * w["touching"] * v[1]

    stiffness = foam.assemble(basis, modulus=np.repeat(modulus[:, None], basis.X.shape[-1], axis=1))
    top = _top(mesh, element, whole.faces[-1])
    held = _held(basis, reach)
    touching = np.full(top.dx.shape, True)
    for _ in range(50):
        springs = tissue * touching.astype(float)
        u = solve(
            *condense(
                stiffness + _springs(top, springs),
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
    closed = -u[_down(basis, whole.roof, half_width)].min() / (whole.roof - whole.floor)
    return _strip(top, gap, tissue, basis.N, float(closed))


VOID_KPA, VOID_LOCKING, CLOSED_KPA = 0.003, 0.99, 1e5
"""The void as a foam next to nothing that locks when it is closed (a third medium): it stands for contact of
roof and floor. Its first modulus, its locking strain and the modulus at which it runs on once closed. At 0.1
kPa it would carry 2 kPa when it is nearly closed, and hold up a roof that the foot has left.
"""


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
    """The same with the foam's own law, ``s = E e / (1 - e / e_d)`` in compression, and a void that may
    close.

    Foam is the same in all directions: its energy is the sum of the law's over the principal strains, so
    compressed foam is stiffer in shear (half the secant modulus). Strains stay small in the geometry: the
    layers do not turn. The foot comes down in steps, each brought to rest by Newton's method.
    """
    return _closed(thickness_mm, modulus_kpa, locking, cut, half_width, descent, tissue, reach, size, False)


def pressed_round(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    locking: tuple[float, ...],
    cut: int,
    radius: float,
    descents: Iterable[float],
    tissue: float,
    reach: float = 50.0,
    size: float = 1.0,
) -> Iterator[Strip]:
    """As `close_round`, at each of some descents [mm] in turn."""
    return _pressed(thickness_mm, modulus_kpa, locking, cut, radius, descents, tissue, reach, size, True)


def close_round(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    locking: tuple[float, ...],
    cut: int,
    radius: float,
    descent: float,
    tissue: float,
    reach: float = 50.0,
    size: float = 1.0,
) -> Strip:
    """The same round a void of a radius [mm]: the section turns about its middle, and the layers stretch
    along the hoop.
    """
    return _closed(thickness_mm, modulus_kpa, locking, cut, radius, descent, tissue, reach, size, True)


def _turned(strain: Any, c: Any, s: Any) -> tuple[Any, Any, Any]:
    """A strain along two directions at right angles, and the shear between them."""
    xx, zz, xz = strain[0, 0], strain[1, 1], strain[0, 1]
    return (
        c * c * xx + s * s * zz + 2 * c * s * xz,
        s * s * xx + c * c * zz - 2 * c * s * xz,
        c * s * (zz - xx) + (c * c - s * s) * xz,
    )


def _closed(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    locking: tuple[float, ...],
    cut: int,
    half_width: float,
    descent: float,
    tissue: float,
    reach: float,
    size: float,
    turned: bool,
) -> Strip:
    steps = [float(down) for down in np.linspace(0.0, descent, 9)[1:]]
    *_, last = _pressed(
        thickness_mm, modulus_kpa, locking, cut, half_width, steps, tissue, reach, size, turned
    )
    return last


def _pressed(
    thickness_mm: tuple[float, ...],
    modulus_kpa: tuple[float, ...],
    locking: tuple[float, ...],
    cut: int,
    half_width: float,
    descents: Iterable[float],
    tissue: float,
    reach: float,
    size: float,
    turned: bool,
) -> Iterator[Strip]:
    from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, LinearForm, condense, solve
    from skfem.helpers import sym_grad

    whole = _meshed(thickness_mm, cut, half_width, reach, size, 4)
    mesh = whole.mesh
    modulus = np.where(whole.in_void, VOID_KPA, np.array(modulus_kpa)[::-1][whole.layer])[:, None]
    lock = np.where(whole.in_void, VOID_LOCKING, np.array(locking)[::-1][whole.layer])[:, None]
    most = np.where(whole.in_void, 1.0 - (VOID_KPA / CLOSED_KPA) ** 0.5, 0.995)[:, None] * lock
    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element)
    top = _top(mesh, element, whole.faces[-1])
    held = _held(basis, reach)

    def around(w: Any) -> Any:
        return w.x[0] if turned else 1.0

    @BilinearForm
    def tangent(u, v, w):
        (e1, e2, shear), (f1, f2, other) = (_turned(sym_grad(one), w["cos"], w["sin"]) for one in (u, v))
        hoop = w["round"] * u[0] * v[0] / w.x[0] ** 2 if turned else 0.0
        return around(w) * (
            w["first"] * e1 * f1 + w["second"] * e2 * f2 + 2 * w["shear"] * shear * other + hoop
        )

    @LinearForm
    def inner(v, w):
        f = sym_grad(v)
        hoop = w["hoop"] * v[0] / w.x[0] if turned else 0.0
        return around(w) * (w["xx"] * f[0, 0] + 2 * w["xz"] * f[0, 1] + w["zz"] * f[1, 1] + hoop)

    @LinearForm
    def push(v, w):
        return -around(w) * w["pressure"] * v[1]

    def law(strain: Array) -> tuple[Array, Array]:
        """Stress and its slope; past 0.995 of the foam's locking strain along the tangent."""
        e = np.minimum(-strain, most)
        left = 1.0 - np.maximum(e, 0.0) / lock
        slope = modulus / left**2
        return -(modulus * e / left + slope * (-strain - e)), slope

    def forces(u: Array, down: float) -> tuple[Array, dict[str, Array], Array]:
        moved = basis.interpolate(u)
        xx, zz, xz = (np.asarray(sym_grad(moved))[place] for place in ((0, 0), (1, 1), (0, 1)))
        turn = 0.5 * np.arctan2(2 * xz, xx - zz)
        c, s, apart = np.cos(turn), np.sin(turn), 2 * np.hypot((xx - zz) / 2, xz)
        (one, first), (two, second) = law((xx + zz + apart) / 2), law((xx + zz - apart) / 2)
        shear = np.where(apart > 1e-9, (one - two) / np.maximum(apart, 1e-9), (first + second) / 2)
        hoop, around_hoop = law(np.asarray(moved)[0] / np.asarray(basis.global_coordinates())[0])
        gap = down + top.interpolate(u)[1]
        rest = inner.assemble(
            basis,
            xx=c * c * one + s * s * two,
            zz=s * s * one + c * c * two,
            xz=c * s * (one - two),
            hoop=hoop,
        )
        rest -= push.assemble(top, pressure=tissue * np.maximum(gap, 0.0))
        slopes = {"cos": c, "sin": s, "first": first, "second": second, "shear": shear, "round": around_hoop}
        return rest, slopes, gap

    free = np.setdiff1d(np.arange(basis.N), held)
    u = np.zeros(basis.N)
    roof, floor = (_down(basis, height, half_width) for height in (whole.roof, whole.floor))
    for down in descents:
        rest, slopes, gap = forces(u, down)
        for _ in range(60):
            if np.abs(rest[free]).max() <= 1e-6 * tissue * (reach if turned else 1.0):
                break
            matrix = tangent.assemble(basis, **slopes)
            matrix = matrix + _springs(top, tissue * (gap > 0.0), turned)
            step = solve(*condense(matrix, -rest, D=held))
            before, share = float(rest[free] @ step[free]), 1.0
            for _ in range(30):
                rest, slopes, gap = forces(u + share * step, down)
                if float(rest[free] @ step[free]) <= 0.5 * abs(before):
                    break
                share /= 2.0
            u = u + share * step
        else:
            raise AssertionError(f"the strip did not come to rest at {down:g} mm")
        gap = down + top.interpolate(u)[1]
        raised = u[floor].max() if whole.floor > 0 else 0.0
        closed = (raised - u[roof].min()) / (whole.roof - whole.floor)
        yield _strip(top, gap, tissue, basis.N, float(closed), turned)
