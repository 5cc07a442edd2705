"""A long strip of the demonstration stack with a void across its middle, as the program makes it."""

from dataclasses import replace

import numpy as np

from offload.core.foam.law import Series, packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK
from offload.core.plan.void import HARD_SHARE, Footprint, Void, foams_of, void_of
from offload.core.pressure.foundation import Foundation
from offload.core.pressure.lattice import Lattice

FOAMS = foams_of(DEMONSTRATION_STACK, packaged_foams())
THICKNESS = np.array([layer.thickness for layer in DEMONSTRATION_STACK])
MODULUS = np.array([foam.modulus_kpa for foam in FOAMS])


def strip(
    index: int, half_width: float, half: float, cell: float, before_kpa: float | None = None
) -> tuple[np.ndarray, Void]:
    """Places along the strip [mm] and the void in it, its walls upright, with the foams' own laws; cut
    under a pressure.
    """
    y = (np.arange(round(2 * half / cell)) + 0.5) * cell - half
    shape = (y.size, 3)
    lattice = Lattice(np.array([-cell, 0.0, cell]), y, cell, cell, np.ones(shape, dtype=bool))
    outside = np.broadcast_to((np.abs(y) - half_width)[:, None], shape)
    inside = np.clip(0.5 - outside / cell, 0.0, 1.0)
    # The part of a cell over the void lies on the side of the strip's middle line.
    middle = np.zeros((2, *shape))
    middle[1] = -np.sign(y)[:, None] * (1.0 - inside) * cell / 2.0 * (inside > 0)
    footprint = Footprint(THICKNESS[index] * inside, inside, outside, middle)
    before = None if before_kpa is None else np.full(shape, before_kpa)
    return y, void_of(footprint, (index,), DEMONSTRATION_STACK, FOAMS, lattice, before)


def linear_strip(index: int, half_width: float, half: float, cell: float) -> tuple[np.ndarray, Foundation]:
    """The same with every foam held to its first slope."""
    y, void = strip(index, half_width, half, cell)
    bed = void.foundation
    compliance = THICKNESS / MODULUS

    def springs(value: float) -> Series:
        return Series.linear(np.full((1, 1), value))

    left = compliance[2] * (HARD_SHARE if index == 2 else 1.0)
    plate = replace(
        bed.plate,
        above=springs(compliance[:index].sum()),
        beside=springs(compliance[index:].sum()),
        below=Series.linear(np.full(int((bed.plate.share > 0).sum()), left)),
    )
    return y, Foundation(bed.lattice, springs(compliance.sum()), bed.gap_mm, bed.coupling, plate)
