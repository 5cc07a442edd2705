"""The same foundation solved the straightforward way: its energy handed to a general minimiser of SciPy.

Written from the equations alone: the column law is inverted by a bracketing root finder and the energy of a
column comes from its closed integral, so nothing of the program's own solver is used but the numbers that
describe the foot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise, minimize

__all__ = ["Bed", "Found", "solve"]

Array = NDArray[np.float64]
CEILING_KPA = 5000.0
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Bed:
    """A cut insole under a foot.

    Attributes
    ----------
    x, y
        Cell centres [mm]; ``size`` their distance [mm]; ``support`` which cells are foam, ``contact`` which
        have a foot above them.
    thickness, modulus_kpa, locking
        Of each layer from the foot down [mm, kPa, -]; ``first`` is the place of the uppermost cut layer.
    window, share, outside_mm, depth_mm, middle_mm, left_mm, ground
        Cells in which the layers above are followed as a plate; share of each cell over the void, distance of
        its centre from the opening, negative inside [mm], the void's depth there [mm], where the middle of
        that share lies from the cell's centre, shape ``(2, ny, nx)`` [mm], what is left there of the layers
        below, shape ``(layers below, ny, nx)`` [mm], and how much the ground below gives [mm/kPa].
    before_kpa, profile_mm, tissue, central
        Pressure before the cut [kPa], skeleton above the foam [mm], stiffness of the tissue and its central
        value [kPa/mm].
    force_n, moment_x, moment_y
        The load [N, N mm].
    """

    x: Array
    y: Array
    size: float
    support: Mask
    contact: Mask
    thickness: Array
    modulus_kpa: Array
    locking: Array
    first: int
    window: Mask
    share: Array
    outside_mm: Array
    depth_mm: Array
    middle_mm: Array
    left_mm: Array
    ground: float
    before_kpa: Array
    profile_mm: Array
    tissue: float
    central: float
    force_n: float
    moment_x: float
    moment_y: float


@dataclass(frozen=True)
class Found:
    """Pressure under the foot [kPa], descent of the void's roof [mm] and how many times the energy was
    asked for.
    """

    pressure_kpa: Array
    roof: Array
    calls: int


def columns(w: Array, a: Array, b: Array, spring: float) -> tuple[Array, Array]:
    """Pressure and energy of columns compressed by w: layers ``a p / (1 + b p)`` and a linear spring
    [mm/kPa].
    """
    p = np.zeros(w.size)
    # Above the ceiling the law runs on along its tangent, as in the program.
    most = (a * CEILING_KPA / (1.0 + b * CEILING_KPA)).sum(axis=0) + spring * CEILING_KPA
    beyond = np.maximum(w - most, 0.0) / ((a / (1.0 + b * CEILING_KPA) ** 2).sum(axis=0) + spring)
    inside = np.minimum(w, most)
    used = w > 0
    if used.any():
        own = np.broadcast_to(a, (a.shape[0], w.size))[:, used]

        def miss(stress: Array, i: Array, wanted: Array) -> Array:
            return (own[:, i] * stress / (1.0 + b * stress)).sum(axis=0) + spring * stress - wanted

        index = np.arange(own.shape[1])
        top = np.full(index.size, 1.01 * CEILING_KPA)
        tolerances = {"xatol": 1e-10, "xrtol": 1e-13}
        found = elementwise.find_root(
            miss, (np.zeros(index.size), top), args=(index, inside[used]), tolerances=tolerances
        )
        p[used] = found.x
    stored = p * inside - spring * p * p / 2.0 - (a * (p / b - np.log1p(b * p) / b**2)).sum(axis=0)
    stored += (CEILING_KPA + beyond / 2.0) * np.maximum(w - most, 0.0)
    return np.where(used, p + beyond, 0.0), np.where(used, stored, 0.0)


def solve(bed: Bed, tolerance: float = 1e-9) -> Found:
    """Minimise the energy over the plate's descents and turns and the rigid motion, from the state before
    the cut.
    """
    area, first = bed.size**2, bed.first
    a = (bed.thickness / bed.modulus_kpa)[:, None]
    b = (1.0 / (bed.modulus_kpa * bed.locking))[:, None]
    window = bed.window & bed.support
    place = np.full(bed.support.shape, -1)
    place[window] = np.arange(int(window.sum()))
    sides: dict[tuple[int, str], NDArray[np.intp]] = {}
    count = int(window.sum())
    for axis in (0, 1):
        near, far = _pair(axis)
        both = window[near] & window[far]
        for kind in ("turn", "slide"):
            numbers = np.full(both.shape, -1)
            numbers[both] = count + np.arange(int(both.sum()))
            count += int(both.sum())
            sides[axis, kind] = numbers
    strains, weights = _strains(bed, window, place, sides)
    cx, cy = bed.moment_x / bed.force_n, bed.moment_y / bed.force_n
    reach = 100.0  # slopes in hundredths of a millimetre per mm, so that all unknowns are of one size
    rows, across = np.nonzero(bed.contact & bed.support)
    basis = np.stack([np.ones(rows.size), (bed.x[across] - cx) / reach, (bed.y[rows] - cy) / reach])
    onto = place[rows, across]
    inner, outer = onto >= 0, onto < 0
    profile = bed.profile_mm[rows, across]
    cells = int(window.sum())
    share, over = bed.share[window], bed.share[window] > 0
    left = (bed.left_mm[:, window] / bed.modulus_kpa[first:, None])[:, over]
    depth = bed.depth_mm[window][over]
    before = bed.before_kpa[window]
    level = np.zeros(count)
    level[:cells] = (a[first:] * before / (1.0 + b[first:] * before)).sum(axis=0)
    stiff = 1.0 / a[first:].sum()
    whole = share < 1
    offset = bed.middle_mm[:, window]
    kept = np.where(whole, -share / np.where(whole, 1.0 - share, 1.0), 0.0) * offset
    beside_of, over_of = _onto(bed, window, kept, whole), _onto(bed, window, offset, over)
    # What a part carried before the cut it goes on to carry at its cell's centre.
    centred = before - beside_of.T @ ((1.0 - share) * before)[whole] - over_of.T @ (share * before)[over]
    calls = 0

    def energy(unknowns: Array) -> tuple[float, Array]:
        nonlocal calls
        calls += 1
        q, motion = unknowns[:-3], unknowns[-3:]
        v, slope = q[:cells], np.zeros(count)
        squeeze = profile + motion @ basis
        press = np.zeros(squeeze.size)
        press[outer], stored = columns(squeeze[outer], a, b, 1.0 / bed.tissue)
        value = stored.sum()
        press[inner], stored = columns(
            squeeze[inner] - v[onto[inner]], a[:first], b[:first], 1.0 / bed.tissue
        )
        value += stored.sum()
        np.add.at(slope, onto[inner], -press[inner])
        sunk, over_level = v - level[:cells], level[:cells]
        u = over_level[whole] + beside_of @ sunk
        carried, stored = columns(u, a[first:], b[first:], 0.0)
        carried = np.where(u < 0, stiff * u, carried)
        part = (1.0 - share)[whole]
        value += (part * np.where(u < 0, 0.5 * stiff * u * u, stored)).sum()
        slope[:cells] += beside_of.T @ (part * carried)
        carried, stored = columns(over_level[over] + over_of @ sunk - depth, left, b[first:], bed.ground)
        value += (share[over] * stored).sum()
        slope[:cells] += over_of.T @ (share[over] * carried)
        value += centred @ v
        slope[:cells] += centred
        value, slope = area * value, area * slope
        for (places, factors), weight in zip(strains, weights, strict=True):
            moved = np.where(places >= 0, (q - level)[places], 0.0)
            strain = moved @ factors if factors.ndim == 1 else (moved * factors).sum(axis=1)
            value += 0.5 * area * (weight * strain**2).sum()
            pull = area * (weight * strain)[:, None] * factors
            np.add.at(slope, places[places >= 0], pull[places >= 0])
        value -= bed.force_n * 1e3 * motion[0]
        rigid = area * (basis @ press) - np.array([bed.force_n * 1e3, 0.0, 0.0])
        scale = bed.force_n * 1e3
        return value / scale, np.concatenate([slope, rigid]) / scale

    found = minimize(
        energy,
        np.concatenate([level, [0.0, 0.0, 0.0]]),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 50_000, "maxfun": 100_000, "ftol": 0.0, "gtol": tolerance, "maxcor": 30},
    )
    q, motion = found.x[:-3], found.x[-3:]
    squeeze = profile + motion @ basis
    press = np.zeros(squeeze.size)
    press[outer], _ = columns(squeeze[outer], a, b, 1.0 / bed.tissue)
    press[inner], _ = columns(squeeze[inner] - q[onto[inner]], a[:first], b[:first], 1.0 / bed.tissue)
    pressure, roof = np.zeros(bed.support.shape), np.zeros(bed.support.shape)
    pressure[rows, across] = press
    roof[window] = q[:cells]
    return Found(pressure, roof, calls)


def _onto(bed: Bed, window: Mask, offset: Array, kept: Mask) -> Array:
    """Hat functions of the cells' centres at the middle of each part, shape ``(parts, cells)``."""
    rows, columns = np.nonzero(window)
    x, y = bed.x[columns], bed.y[rows]
    at_x, at_y = x[kept] + offset[0, kept], y[kept] + offset[1, kept]
    hat = np.maximum(1.0 - np.abs(at_x[:, None] - x) / bed.size, 0.0)
    hat = hat * np.maximum(1.0 - np.abs(at_y[:, None] - y) / bed.size, 0.0)
    # Where a centre beside it is not followed, the part stands at its own cell's centre.
    lonely = hat.sum(axis=1) < 1.0 - 1e-9
    hat[lonely] = np.eye(x.size)[np.flatnonzero(kept)[lonely]]
    return hat


def _pair(axis: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    near, far, whole = slice(None, -1), slice(1, None), slice(None)
    return ((near, whole), (far, whole)) if axis == 0 else ((whole, near), (whole, far))


def _strains(  # type: ignore[no-untyped-def]
    bed: Bed, window: Mask, place: NDArray[np.intp], sides: dict[tuple[int, str], NDArray[np.intp]]
):
    """Strains of the plate and of the layers below as sums of unknowns, and the stiffness of each."""
    h, first = bed.size, bed.first
    t, e, lock = bed.thickness, bed.modulus_kpa, bed.locking
    height = np.cumsum(t[:first][::-1])[::-1] - t[:first] / 2
    forms, weights = [], []

    def add(places: list[Array], factors: list[Array] | list[float], weight: Array | float) -> None:
        each = [np.broadcast_to(factor, places[0].shape) for factor in factors]
        forms.append((np.stack(places, axis=1), np.stack(each, axis=1)))
        weights.append(np.broadcast_to(weight, places[0].shape))

    for axis in (0, 1):
        near, far = _pair(axis)
        both = window[near] & window[far]
        one, two = place[near][both], place[far][both]
        turn, slide = sides[axis, "turn"][both], sides[axis, "slide"][both]
        # Foam pressed before the cut: half its secant modulus in shear, and so much give to a little more.
        pressed = (bed.before_kpa[near][both] + bed.before_kpa[far][both]) / 2.0
        secant = e[:, None] + pressed / lock[:, None]
        shear, give = secant / 2.0, t[:, None] * e[:, None] / secant**2
        above = np.concatenate([0.0 * pressed[None], np.cumsum(give[:first], axis=0)])
        upper = 1.0 / (1.0 + bed.central * above[-1])
        follows = upper + (1.0 - upper) * above / above[-1]
        for layer in range(first):
            mean, apart = (follows[layer] + follows[layer + 1]) / 2, follows[layer + 1] - follows[layer]
            parts = [-mean / h, mean / h, np.full(mean.size, -1.0 / h)]
            add([one, two, turn], parts, 5.0 / 6.0 * shear[layer] * t[layer])
            add([one, two], [-apart / h, apart / h], shear[layer] * t[layer] / 12.0)
        # The square between two centres counts with what of it lies outside the opening, whose edge is
        # straight there.
        edge = (bed.outside_mm[near][both] + bed.outside_mm[far][both]) / 2.0
        outside = np.minimum(np.maximum(edge + h / 2.0, 0.0), h) / h
        phi = 1.0 - np.concatenate([0.0 * pressed[None], np.cumsum(give[first:], axis=0)]) / give[first:].sum(
            axis=0
        )
        for below in range(t.size - first):
            layer, top, bottom = first + below, phi[below], phi[below + 1]
            fall = (bottom - top) / t[layer]
            # phi is straight in a layer, so the energy of phi * slope + fall * slide is that of its middle
            # and its ends.
            for point, weight in ((0.0, 1.0 / 6.0), (0.5, 2.0 / 3.0), (1.0, 1.0 / 6.0)):
                here = top + point * (bottom - top)
                add(
                    [one, two, slide], [-here / h, here / h, fall], outside * weight * shear[layer] * t[layer]
                )
        # Curvature of a cell: its two sides; foam beyond the window keeps its side level, no foam leaves it
        # free.
        rows, columns = np.nonzero(window)
        steps = (rows, columns)[axis]
        inside = (steps > 0) & (steps < window.shape[axis] - 1)
        rows, columns = rows[inside], columns[inside]
        shift = (1, 0) if axis == 0 else (0, 1)
        firm = (
            bed.support[rows - shift[0], columns - shift[1]]
            & bed.support[rows + shift[0], columns + shift[1]]
        )
        rows, columns = rows[firm], columns[firm]
        before, after = (rows - shift[0], columns - shift[1]), (rows, columns)
        kinds = [sides[axis, kind][at] for kind in ("turn", "slide") for at in (before, after)]
        # A layer's stretch is straight over its thickness: its middle and its ends.
        for layer in range(first):
            for point, weight in ((-0.5, 1.0 / 6.0), (0.0, 2.0 / 3.0), (0.5, 1.0 / 6.0)):
                z = height[layer] + point * t[layer]
                add(kinds, [-z / h**2, z / h**2, -1.0 / h, 1.0 / h], weight * e[layer] * t[layer])
    s = bed.support
    firm = s[:-1, :-1] & s[1:, :-1] & s[:-1, 1:] & s[1:, 1:]
    quad = []
    for kind in ("turn", "slide"):
        along_x, along_y = sides[1, kind], sides[0, kind]
        quad += [along_x[:-1][firm], along_x[1:][firm], along_y[:, :-1][firm], along_y[:, 1:][firm]]
    for layer in range(first):
        for point, weight in ((-0.5, 1.0 / 6.0), (0.0, 2.0 / 3.0), (0.5, 1.0 / 6.0)):
            z = (height[layer] + point * t[layer]) / h
            factors = [0.5 * sign * size / h for size in (z, 1.0) for sign in (-1.0, 1.0, -1.0, 1.0)]
            add(quad, factors, 2.0 * weight * e[layer] * t[layer])
    return forms, weights
