"""The layers that span a void: one plate that bends and shears, standing on the foam below it beside the
void.

One displacement a column cannot show that the layers left whole over a void still stand on firm foam beside
its wall, nor that they bend. Near a void the unknown of a cell is therefore the descent of the plate's lower
face, with two turns of the plate and two slides of that face beside it; the plate's own compression lies in
series with the tissue. Beside the wall the face is bonded to the layers below, which hold it from sliding, so
a plate over a narrow or round void bends about a line nearer to that face than its own neutral one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.field import LayerFoam, between, chosen
from offload.core.foam.law import Foam, Series
from offload.core.foam.stack import Layer
from offload.core.pressure.lattice import Lattice

__all__ = [
    "Numbering",
    "Plate",
    "below_form",
    "bending_energy",
    "bending_stiffness",
    "number",
    "quadratic_band",
    "reach_of",
    "shear_energy",
    "stretch_form",
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
        From the foot down; a foam may differ from cell to cell.
    above, beside, below
        Law of the plate itself and of the whole columns below it, one column that stands for all or shape
        ``(ny, nx)``, and of what is left of them in the void, in the cells with a ``share``.
    share, depth_mm
        Share of each cell that lies over the void, and the void's depth in that part [mm], shape ``(ny,
        nx)``.
    middle_mm
        Where the middle of that part lies from the cell's centre along x and along y [mm], shape ``(2, ny,
        nx)``.
    bonded
        Share of the way from each cell's centre to the next along x and along y that is not over the void
        [-], shape ``(2, ny, nx)``.
    window
        Cells near the void where the plate is followed, shape ``(ny, nx)``.
    tissue_kpa_mm
        Central stiffness of the plantar tissue [kPa/mm]; only for ``follows``.
    below_layers, below_foams
        The layers below, from the foot down; none where nothing is bonded to the plate.
    squeezed_kpa
        Pressure at which the foams' stiffness in shear is taken [kPa], shape ``(ny, nx)`` or 0: that before
        the cut. Over the void the cut takes pressure off, so the plate is rather too stiff there, to the safe
        side.
    uncut
        Law of the whole columns below the plate before anything was let into them; None where they are those
        beside.
    """

    layers: tuple[Layer, ...]
    foams: tuple[LayerFoam, ...]
    above: Series
    beside: Series
    below: Series
    share: Array
    depth_mm: Array
    middle_mm: Array
    bonded: Array
    window: Mask
    tissue_kpa_mm: float
    below_layers: tuple[Layer, ...] = ()
    below_foams: tuple[LayerFoam, ...] = ()
    squeezed_kpa: Array | float = 0.0
    uncut: Series | None = None

    def follows(self, squeezed_kpa: Array | float = 0.0, foams: Sequence[LayerFoam] | None = None) -> Array:
        """Share of the lower face's descent that each layer's faces take part in, from the foot down [-].

        A foot that stays where it is holds the upper face back: with the plate's compliance ``c`` in series
        with the tissue's ``1 / k_t`` the upper face moves by ``1 / (1 + k_t c)`` of the lower one, the faces
        between in step with the compliance passed. Shape ``(layers + 1, ...)``.
        """
        compliance = _compliance(self.layers, self.foams if foams is None else foams, squeezed_kpa)
        passed = np.concatenate([np.zeros((1, *compliance.shape[1:])), np.cumsum(compliance, axis=0)])
        upper = 1.0 / (1.0 + self.tissue_kpa_mm * passed[-1])
        return np.asarray(upper + (1.0 - upper) * passed / passed[-1])

    def shear_form(
        self, size: float, squeezed_kpa: Array | float = 0.0, foams: Sequence[LayerFoam] | None = None
    ) -> Array:
        """Energy of shear as a form of the lower face's descent at both ends of a cell's width, and the turn
        between.

        Notes
        -----
        For each layer ``G t (w' - turn)^2`` of its mean descent, with Reissner's share, and ``G t / 12`` of
        the difference in slope between its faces. The turn is carried as a length, ``turn * size``. Shape
        ``(..., 3, 3)``. ``foams`` are those between the cells where they differ from cell to cell.
        """
        foams = self.foams if foams is None else foams
        squeezed = np.asarray(squeezed_kpa, dtype=float)
        form = np.zeros((*squeezed.shape, 3, 3))
        follows = self.follows(squeezed, foams)
        one = np.ones(squeezed.shape)
        for layer, foam, top, bottom in zip(self.layers, foams, follows, follows[1:], strict=False):
            stiffness = foam.shear_modulus_at(squeezed) * layer.thickness
            mean, apart = (top + bottom) / 2, bottom - top
            slope = np.stack([-mean, mean, -one], axis=-1) / size
            fan = np.stack([-apart, apart, 0.0 * one], axis=-1) / size
            both = REISSNER * _outer(slope) + _outer(fan) / 12.0
            form += np.asarray(stiffness)[..., None, None] * both
        return form


def _outer(vectors: Array) -> Array:
    return vectors[..., :, None] * vectors[..., None, :]


def _compliance(layers: Sequence[Layer], foams: Sequence[LayerFoam], squeezed_kpa: Array | float) -> Array:
    """By how much each layer gives to a little more pressure [mm/kPa], shape ``(layers, ...)``."""
    return np.stack(
        [layer.thickness * foam.softness_at(squeezed_kpa) for layer, foam in zip(layers, foams, strict=True)]
    )


def stretch_form(layers: Sequence[Layer], foams: Sequence[LayerFoam]) -> Array:
    """Stiffness of bonded layers against the gradient of turn and of their lower face's slide, shape ``(...,
    2, 2)``.

    Notes
    -----
    ``integral(E (h turn' + slide')^2 dz)`` over the thickness, ``h`` the height above the lower face;
    Poisson's ratio of foam is near zero, so nothing is added for width. [kPa mm³, kPa mm², kPa mm]
    """
    modulus = np.stack(np.broadcast_arrays(*(foam.modulus_kpa for foam in foams)))
    one = np.array([layer.thickness for layer in layers])
    tall = np.cumsum(one[::-1])[::-1] - one / 2
    thickness, height = (each.reshape(-1, *(1,) * (modulus.ndim - 1)) for each in (one, tall))
    first, second = (
        (modulus * thickness * height).sum(axis=0),
        (modulus * (thickness**3 / 12 + thickness * height**2)).sum(axis=0),
    )
    form = np.array([[second, first], [first, (modulus * thickness).sum(axis=0)]])
    return np.moveaxis(form, (0, 1), (-2, -1))


def bending_stiffness(layers: Sequence[Layer], foams: Sequence[LayerFoam]) -> float:
    """Bending stiffness of bonded layers about their own neutral line [kPa mm³]: nothing holds them from
    sliding.
    """
    form = stretch_form(layers, foams)
    return float(form[0, 0] - form[0, 1] ** 2 / form[1, 1])


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


def below_form(
    layers: Sequence[Layer], foams: Sequence[LayerFoam], squeezed_kpa: Array | float = 0.0
) -> Array:
    """Shear of bonded layers on a rigid ground as a form of their upper face's slope and slide, shape ``(...,
    2, 2)``.

    Notes
    -----
    ``sum G_i integral((phi slope + phi' slide)^2 dz)``. The sideways pull of a neighbour and a slide of the
    upper face fade with depth: ``phi`` falls from 1 at the upper face to 0 at the ground in step with the
    compliance passed, so it is straight in each layer. [kPa mm, kPa, kPa/mm]
    """
    compliance = _compliance(layers, foams, squeezed_kpa)
    total, passed = compliance.sum(axis=0), np.zeros(compliance.shape[1:])
    form = np.zeros((*total.shape, 2, 2))
    for layer, foam, part in zip(layers, foams, compliance, strict=True):
        top, bottom = 1.0 - passed / total, 1.0 - (passed + part) / total
        shear, fall = foam.shear_modulus_at(squeezed_kpa), (top - bottom) / layer.thickness
        form[..., 0, 0] += shear * layer.thickness * (top * top + top * bottom + bottom * bottom) / 3.0
        form[..., 0, 1] -= shear * fall * layer.thickness * (top + bottom) / 2.0
        form[..., 1, 1] += shear * fall * fall * layer.thickness
        passed = passed + part
    form[..., 1, 0] = form[..., 0, 1]
    return form


@dataclass(frozen=True, slots=True)
class Numbering:
    """Place of each unknown in the vector, -1 where there is none; shape ``(ny, nx)`` each.

    ``face`` descent of the foam's upper face, near a void of the plate's lower face; ``turn_x`` and
    ``turn_y`` the plate's turn on the side towards the next cell along x and along y, ``slide_x`` and
    ``slide_y`` the slide of its lower face there.
    """

    face: Places
    turn_x: Places
    turn_y: Places
    slide_x: Places
    slide_y: Places
    count: int

    @property
    def beside(self) -> tuple[Places, Places, Places, Places]:
        """The unknowns on the cells' sides, in the order of ``Start.roof``."""
        return self.turn_x, self.turn_y, self.slide_x, self.slide_y


def number(cells: Mask, turning: bool) -> Numbering:
    """Number the unknowns of some cells row by row, those of one cell together, so that the band stays
    narrow.
    """
    along_x, along_y = np.zeros(cells.shape, dtype=bool), np.zeros(cells.shape, dtype=bool)
    if turning:
        along_x[:, :-1] = cells[:, :-1] & cells[:, 1:]
        along_y[:-1] = cells[:-1] & cells[1:]
    held = np.stack([cells, along_x, along_y, along_x, along_y], axis=-1)
    places = np.where(held, np.cumsum(held.ravel()).reshape(held.shape) - 1, -1)
    face, turn_x, turn_y, slide_x, slide_y = np.moveaxis(places, -1, 0)
    return Numbering(face, turn_x, turn_y, slide_x, slide_y, int(held.sum()))


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


def shear_energy(plate: Plate, lattice: Lattice, at: Numbering) -> list[tuple[Places, Array]]:
    """What of the plate's energy follows from the pressure before the cut, shear of the plate and of the
    layers below, as sums of quadratic forms: places of their unknowns ``(m, k)`` and forms ``(k, k)`` or
    ``(m, k, k)``.

    Notes
    -----
    Turns and slides stand on the cells' sides, so that the shear ``w' - turn`` and both curvatures are
    differences of neighbours and a thin plate does not lock.
    """
    area = lattice.area
    window = plate.window & lattice.support
    squeezed = np.broadcast_to(plate.squeezed_kpa, window.shape)
    found: list[tuple[Places, Array]] = []
    for axis, size, turn, slide, bonded in _along(plate, lattice, at):
        near, far = _sides(axis)
        both = window[near] & window[far]
        midway = (squeezed[near][both] + squeezed[far][both]) / 2.0
        picks = (lambda one, at=near, of=both: one[at][of], lambda one, at=far, of=both: one[at][of])
        sides = [at.face[near][both], at.face[far][both]]
        shear = plate.shear_form(size, midway, between(plate.foams, *picks))
        found.append((np.stack([*sides, turn[near][both]], axis=1), area * shear))
        if plate.below_layers:
            strain = np.array([[-1.0 / size, 1.0 / size, 0.0], [0.0, 0.0, 1.0]])
            held = bonded[near][both][:, None, None] * below_form(
                plate.below_layers, between(plate.below_foams, *picks), midway
            )
            found.append((np.stack([*sides, slide[near][both]], axis=1), area * (strain.T @ held @ strain)))
        else:
            found.append((slide[near][both][:, None], np.full((1, 1), area * 1e-6)))
    return found


def bending_energy(plate: Plate, lattice: Lattice, at: Numbering) -> list[tuple[Places, Array]]:
    """What of the plate's energy no pressure changes, as `shear_energy`: bending, stretch and twist.

    Notes
    -----
    Bending and stretch ``(kx^2 + ky^2 + 2 kxy^2)`` of each height, a Poisson ratio of zero. Where the plate
    runs on beyond the window it is level; at the insole's edge it is free.
    """
    area, dx, dy = lattice.area, lattice.dx, lattice.dy
    support = lattice.support
    window = plate.window & support
    found: list[tuple[Places, Array]] = []
    for axis, size, turn, slide, _ in _along(plate, lattice, at):
        near, far = _sides(axis)
        # Curvature across a cell between its two sides; a side to foam off the window is level, one to no
        # foam is free.
        pairs = []
        for places in (turn, slide):
            before = np.full(window.shape, -1)
            before[far] = places[near]
            pairs += [before, places]
        inner = np.zeros(window.shape, dtype=bool)
        inner[far] = support[near]
        inner[near] &= support[far]
        edge = [slice(None)] * 2
        edge[axis] = slice(-1, None)
        inner[tuple(edge)] = False
        inner &= window
        change = np.array([[-1.0 / size**2, 1.0 / size**2, 0.0, 0.0], [0.0, 0.0, -1.0 / size, 1.0 / size]])
        stretch = area * stretch_form(plate.layers, chosen(plate.foams, inner))
        found.append((np.stack([one[inner] for one in pairs], axis=1), change.T @ stretch @ change))
    # Twist at the corners between four cells of foam.
    quad = [support[:-1, :-1], support[:-1, 1:], support[1:, :-1], support[1:, 1:]]
    whole = quad[0] & quad[1] & quad[2] & quad[3]
    corners = [
        one
        for x, y in ((at.turn_x, at.turn_y), (at.slide_x, at.slide_y))
        for one in (x[:-1, :-1], x[1:, :-1], y[:-1, :-1], y[:-1, 1:])
    ]
    places = np.stack([one[whole] for one in corners], axis=1)
    twist = np.zeros((2, 8))
    twist[0, :4] = 0.5 * np.array([-1.0 / dy / dx, 1.0 / dy / dx, -1.0 / dx / dy, 1.0 / dx / dy])
    twist[1, 4:] = 0.5 * np.array([-1.0 / dy, 1.0 / dy, -1.0 / dx, 1.0 / dx])
    held_by = (places >= 0).any(axis=1)
    corner = (
        lambda one: one[:-1, :-1][whole][held_by],
        lambda one: one[:-1, 1:][whole][held_by],
        lambda one: one[1:, :-1][whole][held_by],
        lambda one: one[1:, 1:][whole][held_by],
    )
    stretch = area * stretch_form(plate.layers, between(plate.foams, *corner))
    found.append((places[held_by], 2.0 * twist.T @ stretch @ twist))
    return found


def _along(
    plate: Plate, lattice: Lattice, at: Numbering
) -> tuple[tuple[int, float, Places, Places, Array], ...]:
    """Along x and along y: the axis, the cells' size there, turn and slide, and the share that is bonded."""
    return (
        (1, lattice.dx, at.turn_x, at.slide_x, plate.bonded[0]),
        (0, lattice.dy, at.turn_y, at.slide_y, plate.bonded[1]),
    )


def _sides(axis: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Each cell but the last along an axis, and its neighbour."""
    whole = slice(None)
    near, far = slice(None, -1), slice(1, None)
    return ((whole, near), (whole, far)) if axis == 1 else ((near, whole), (far, whole))
