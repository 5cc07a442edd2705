"""The layers that span a void: one plate that bends and shears, standing on the foam below it beside the
void.

One displacement a column cannot show that the layers left whole over a void still stand on firm foam beside
its wall, nor that they bend. Near a void the unknown of a cell is therefore the descent of the plate's lower
face, with two turns of the plate beside it; the plate's own compression lies in series with the tissue.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.law import Foam, Series
from offload.core.foam.stack import Layer
from offload.core.pressure.lattice import Lattice

__all__ = [
    "Numbering",
    "Plate",
    "bending_stiffness",
    "number",
    "plate_energy",
    "quadratic_band",
    "reach_of",
    "shear_coupling",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Places = NDArray[np.intp]

LENGTHS = 1.5
"""How many bending lengths beyond the opening the plate is followed; further out it is taken as level."""
MOST_REACH_MM = 10.0
"""But never further than this [mm]."""
REISSNER = 5.0 / 6.0
"""Share of the shear stiffness that a parabola of shear over the thickness leaves (Reissner 1945)."""


@dataclass(frozen=True, slots=True)
class Plate:
    """The layers above a void.

    Attributes
    ----------
    layers, foams
        From the foot down.
    above, beside, below
        Law of the plate itself and of the whole columns below it, one column that stands for all or shape
        ``(ny, nx)``, and of what is left of them in the void, in the cells with a ``share``.
    share, depth_mm
        Share of each cell that lies over the void, and the void's depth in that part [mm], shape ``(ny,
        nx)``.
    drag
        Shear coupling of the layers below from each cell's centre to the next along x and along y [kPa mm],
        shape ``(2, ny, nx)``; nothing over the void.
    window
        Cells near the void where the plate is followed, shape ``(ny, nx)``.
    tissue_kpa_mm
        Central stiffness of the plantar tissue [kPa/mm]; only for ``follows``.
    """

    layers: tuple[Layer, ...]
    foams: tuple[Foam, ...]
    above: Series
    beside: Series
    below: Series
    share: Array
    depth_mm: Array
    drag: Array
    window: Mask
    tissue_kpa_mm: float

    @property
    def follows(self) -> Array:
        """Share of the lower face's descent that each layer's faces take part in, from the foot down [-].

        A foot that stays where it is holds the upper face back: with the plate's compliance ``c`` in series
        with the tissue's ``1 / k_t`` the upper face moves by ``1 / (1 + k_t c)`` of the lower one, the faces
        between in step with the compliance ``t / E`` passed.
        """
        compliance = [
            layer.thickness / foam.modulus_kpa for layer, foam in zip(self.layers, self.foams, strict=True)
        ]
        total = sum(compliance)
        upper = 1.0 / (1.0 + self.tissue_kpa_mm * total)
        return upper + (1.0 - upper) * np.concatenate([[0.0], np.cumsum(compliance)]) / total

    def shear_form(self, size: float) -> Array:
        """Energy of shear as a form of the lower face's descent at both ends of a cell's width, and the turn
        between.

        Notes
        -----
        For each layer ``G t (w' - turn)^2`` of its mean descent, with Reissner's share, and ``G t / 12`` of
        the difference in slope between its faces. The turn is carried as a length, ``turn * size``.
        """
        form = np.zeros((3, 3))
        follows = self.follows
        for layer, foam, top, bottom in zip(self.layers, self.foams, follows, follows[1:], strict=False):
            stiffness = foam.shear_modulus_kpa * layer.thickness
            mean, apart = (top + bottom) / 2, bottom - top
            slope = np.array([-mean, mean, -1.0]) / size
            fan = np.array([-apart, apart, 0.0]) / size
            form += stiffness * (REISSNER * np.outer(slope, slope) + np.outer(fan, fan) / 12.0)
        return form


def bending_stiffness(layers: Sequence[Layer], foams: Sequence[Foam]) -> float:
    """Bending stiffness of bonded layers about their own neutral line [kPa mm³].

    Notes
    -----
    ``sum E (t^3 / 12 + t (z - z_n)^2)``; Poisson's ratio of foam is near zero, so nothing is added for width.
    """
    thickness = np.array([layer.thickness for layer in layers])
    modulus = np.array([foam.modulus_kpa for foam in foams])
    middle = np.cumsum(thickness) - thickness / 2
    neutral = (modulus * thickness * middle).sum() / (modulus * thickness).sum()
    return float((modulus * (thickness**3 / 12 + thickness * (middle - neutral) ** 2)).sum())


def reach_of(stack: Sequence[Layer], foams: Sequence[Foam], first: int) -> float:
    """How far beyond an opening the layers above ``first`` are followed as a plate [mm].

    Notes
    -----
    Bending of a long plate on springs dies away over ``(4 D / k)^(1/4)`` (Hetenyi 1946), ``k`` being the
    stiffness of the layers below.
    """
    compliance = sum(
        layer.thickness / foam.modulus_kpa for layer, foam in zip(stack[first:], foams[first:], strict=True)
    )
    length = (4.0 * bending_stiffness(stack[:first], foams[:first]) * compliance) ** 0.25
    return min(LENGTHS * length, MOST_REACH_MM)


def shear_coupling(layers: Sequence[Layer], foams: Sequence[Foam]) -> float:
    """Shear coupling of columns of bonded layers on a rigid ground [kPa mm].

    Notes
    -----
    ``sum G_i integral(phi^2 dz)``. The sideways pull of a neighbour fades with depth: ``phi`` falls from 1 at
    the upper face to 0 at the ground in step with the compliance ``t / E`` passed, so it is straight in each
    layer.
    """
    compliance = [layer.thickness / foam.modulus_kpa for layer, foam in zip(layers, foams, strict=True)]
    total, passed, coupling = sum(compliance), 0.0, 0.0
    for layer, foam, part in zip(layers, foams, compliance, strict=True):
        top, bottom = 1.0 - passed / total, 1.0 - (passed + part) / total
        coupling += (
            foam.shear_modulus_kpa * layer.thickness * (top * top + top * bottom + bottom * bottom) / 3.0
        )
        passed += part
    return coupling


@dataclass(frozen=True, slots=True)
class Numbering:
    """Place of each unknown in the vector, -1 where there is none; shape ``(ny, nx)`` each.

    ``face`` descent of the foam's upper face, near a void of the plate's lower face; ``turn_x`` and
    ``turn_y`` the plate's turn on the side towards the next cell along x and along y.
    """

    face: Places
    turn_x: Places
    turn_y: Places
    count: int


def number(cells: Mask, turning: bool) -> Numbering:
    """Number the unknowns of some cells row by row, those of one cell together, so that the band stays
    narrow.
    """
    along_x, along_y = np.zeros(cells.shape, dtype=bool), np.zeros(cells.shape, dtype=bool)
    if turning:
        along_x[:, :-1] = cells[:, :-1] & cells[:, 1:]
        along_y[:-1] = cells[:-1] & cells[1:]
    held = np.stack([cells, along_x, along_y], axis=-1)
    places = np.where(held, np.cumsum(held.ravel()).reshape(held.shape) - 1, -1)
    return Numbering(places[..., 0], places[..., 1], places[..., 2], int(held.sum()))


def quadratic_band(forms: Sequence[tuple[Places, Array]], count: int) -> Array:
    """Sum of quadratic forms as a symmetric band in LAPACK's lower storage, diagonal first; places of -1
    are held at nought.
    """
    low, high, value = (np.concatenate(part) for part in zip(*map(_entries, forms), strict=True))
    width = int((high - low).max(initial=0)) + 1
    flat = np.bincount(low * width + (high - low), value, count * width)
    return np.asfortranarray(flat.reshape(count, width).T)


def _entries(form: tuple[Places, Array]) -> tuple[Places, Places, Array]:
    places, values = form
    rows, columns = _lower(places.shape[1])
    one, other = places[:, rows], places[:, columns]
    value = np.broadcast_to(values[..., rows, columns], one.shape)
    if (places < 0).any():
        # A place that is held takes no part: the form is taken entry by entry.
        kept = (one >= 0) & (other >= 0)
        one, other, value = one[kept], other[kept], value[kept]
    return np.minimum(one, other).ravel(), np.maximum(one, other).ravel(), value.ravel()


@cache
def _lower(size: int) -> tuple[Places, Places]:
    return np.tril_indices(size)


def plate_energy(plate: Plate, lattice: Lattice, at: Numbering) -> list[tuple[Places, Array]]:
    """The plate's energy as sums of quadratic forms: places of their unknowns ``(m, k)`` and forms ``(k, k)``
    or ``(m, k, k)``.

    Notes
    -----
    Turns stand on the cells' sides, so that the shear ``w' - turn`` and both curvatures are differences of
    neighbours and a thin plate does not lock. Bending ``D (kx^2 + ky^2 + 2 kxy^2)``, a Poisson ratio of zero.
    Where the plate runs on beyond the window it is level; at the insole's edge it is free.
    """
    area, dx, dy = lattice.area, lattice.dx, lattice.dy
    support = lattice.support
    window = plate.window & support
    bend = bending_stiffness(plate.layers, plate.foams) * area
    found: list[tuple[Places, Array]] = []
    for axis, size, turn, drag in ((1, dx, at.turn_x, plate.drag[0]), (0, dy, at.turn_y, plate.drag[1])):
        near, far = _sides(axis)
        both = window[near] & window[far]
        sides = [at.face[near], at.face[far], turn[near]]
        found.append((np.stack([one[both] for one in sides], axis=1), area * plate.shear_form(size)))
        pull = (area / size**2) * drag[near][both][:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])
        found.append((np.stack([at.face[near][both], at.face[far][both]], axis=1), pull))
        # Curvature across a cell between its two sides; a side to foam off the window is level, one to no
        # foam is free.
        before = np.full(window.shape, -1)
        before[far] = turn[near]
        inner = np.zeros(window.shape, dtype=bool)
        inner[far] = support[near]
        inner[near] &= support[far]
        edge = [slice(None)] * 2
        edge[axis] = slice(-1, None)
        inner[tuple(edge)] = False
        inner &= window
        form = bend / size**4 * np.array([[1.0, -1.0], [-1.0, 1.0]])
        found.append((np.stack([before[inner], turn[inner]], axis=1), form))
    # Twist at the corners between four cells of foam.
    quad = [support[:-1, :-1], support[:-1, 1:], support[1:, :-1], support[1:, 1:]]
    whole = quad[0] & quad[1] & quad[2] & quad[3]
    turns = [at.turn_x[:-1, :-1], at.turn_x[1:, :-1], at.turn_y[:-1, :-1], at.turn_y[:-1, 1:]]
    places = np.stack([one[whole] for one in turns], axis=1)
    twist = 0.5 * np.array([-1.0 / dy / dx, 1.0 / dy / dx, -1.0 / dx / dy, 1.0 / dx / dy])
    found.append((places[(places >= 0).any(axis=1)], 2.0 * bend * np.outer(twist, twist)))
    return found


def _sides(axis: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Each cell but the last along an axis, and its neighbour."""
    whole = slice(None)
    near, far = slice(None, -1), slice(1, None)
    return ((whole, near), (whole, far)) if axis == 1 else ((near, whole), (far, whole))
