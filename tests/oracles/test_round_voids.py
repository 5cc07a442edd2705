"""The foundation round a void against finite elements that turn about its middle: own foam laws, the void may
close.

The margin between lesion and wall is 1.5 to 5 mm, so that narrow voids are seen too. `python -m
tests.oracles.test_round_voids` prints the whole table (radii 4 to 20 mm, 10 to 200 kPa; about an hour) and
the mesh study.
"""

import math
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from offload.core.foam.law import Series, packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK
from offload.core.plan.void import coverage, foams_of, footprint_of, void_of
from offload.core.pressure.lattice import Lattice, Load
from offload.core.shapes.outline import Outline
from tests.oracles.plane_strain import close_round
from tests.oracles.test_pressure import CUTS, HOPEFUL, HOPEFUL_KPA, WITHIN, WITHIN_KPA

pytestmark = pytest.mark.oracle

FOAMS = foams_of(DEMONSTRATION_STACK, packaged_foams())
THICKNESS = tuple(layer.thickness for layer in DEMONSTRATION_STACK)
MODULUS = tuple(foam.modulus_kpa for foam in FOAMS)
LOCKING = tuple(foam.locking_strain for foam in FOAMS)
TISSUE = 50.0
VOIDS = ((4.0, 2.5), (6.0, 4.0), (8.0, 4.0), (10.0, 5.0), (15.0, 10.0), (20.0, 15.0))
"""Radii of void and lesion [mm]."""
LOADS = (10.0, 30.0, 60.0, 120.0, 200.0)
SHIFTS = ((0.0, 0.0), (0.5, 0.5), (0.25, 0.4))
"""Where the void's middle lies from a corner of four cells, in cells."""
FEWEST = 7
"""Cells across an opening for which a plan's cells are taken smaller (``pressure.CELLS_ACROSS``)."""


def descent_of(far):
    """How far the skeleton comes down where the foam is whole [mm]."""
    return far / TISSUE + float(Series(np.array(THICKNESS)[:, None], FOAMS).compression(np.array([far]))[0])


@cache
def by_elements(cut, radius, far, size=1.0):
    reach = radius + 30.0
    return close_round(THICKNESS, MODULUS, LOCKING, CUTS[cut], radius, descent_of(far), TISSUE, reach, size)


@cache
def by_foundation(cut, radius, lesion, far, cell, shift):
    """Lesion mean, rim mean, rim peak [kPa] and how far the void is closed, at the elements' descent."""
    half = math.ceil((radius + 14.0) / 2.5) * 2.5
    steps = (np.arange(round(2 * half / cell)) + 0.5) * cell - half
    x, y = steps + shift[0] * cell, steps + shift[1] * cell
    everywhere = np.ones((y.size, x.size), dtype=bool)
    lattice = Lattice(x, y, cell, cell, everywhere)
    wall = Outline.ellipse((0.0, 0.0), 2 * radius, 2 * radius)
    opening = SimpleNamespace(opening=wall, floor=wall)
    footprint = footprint_of([opening], 90.0, THICKNESS[CUTS[cut]], lattice)
    before = np.full(everywhere.shape, far)
    bed = void_of(footprint, (CUTS[cut],), DEMONSTRATION_STACK, FOAMS, lattice, before).foundation
    wanted, mean, last, state = descent_of(far), far * (1 - math.pi * radius**2 / (8 * half**2)), None, None
    for _ in range(30):
        force = mean * 1e-3 * everywhere.size * lattice.area
        # The load stands on the middle of the cells, so that the foot comes down level.
        load = Load(force, force * float(x.mean()), force * float(y.mean()))
        state = bed.press(np.zeros(everywhere.shape), everywhere, TISSUE, load, state and state.as_start())
        miss = state.motion[0] - wanted
        if abs(miss) < 2e-5 * wanted:
            break
        slope = wanted / far if last is None else (miss - last[1]) / (mean - last[0])
        last, mean = (mean, miss), mean - miss / slope
    else:
        raise AssertionError("the descent was not reached")
    weight = coverage(Outline.ellipse((0.0, 0.0), 2 * lesion, 2 * lesion), lattice)
    rim = (footprint.outside_mm > 0) & (footprint.outside_mm <= 10.0)
    p = state.pressure_kpa
    closed = np.where(footprint.outside_mm < 0, state.roof[0], 0.0).max() / THICKNESS[CUTS[cut]]
    return (p * weight).sum() / weight.sum(), p[rim].mean(), p[rim].max(), closed


def cell_of(radius):
    """As a plan takes it: smaller where an opening is narrow."""
    return 2.5 if 2 * radius >= FEWEST * 2.5 else 1.25


@pytest.mark.parametrize(("cut", "radius", "lesion"), [("base", 6.0, 4.0), ("base", 10.0, 5.0)])
def test_the_elements_have_converged(cut, radius, lesion):
    coarse, fine = by_elements(cut, radius, 60.0), by_elements(cut, radius, 60.0, 0.5)
    assert coarse.mean(0, lesion) == pytest.approx(fine.mean(0, lesion), rel=0.01, abs=0.2)
    assert coarse.mean(radius + 27, radius + 30) == pytest.approx(60.0, rel=0.003)


@pytest.mark.parametrize("far", [60.0, 120.0])
@pytest.mark.parametrize(("radius", "lesion"), [(6.0, 4.0), (10.0, 5.0), (15.0, 10.0)])
def test_round_base_cuts_agree(radius, lesion, far):
    theirs = by_elements("base", radius, far)
    mean = theirs.mean(0, lesion)
    for shift in SHIFTS:
        ours = by_foundation("base", radius, lesion, far, cell_of(radius), shift)
        assert ours[0] == pytest.approx(mean, rel=WITHIN, abs=WITHIN_KPA)
        assert ours[0] >= mean - max(HOPEFUL * mean, HOPEFUL_KPA)
        assert ours[1] == pytest.approx(theirs.mean(radius, radius + 10), rel=0.10)
        assert ours[2] == pytest.approx(theirs.peak(radius, radius + 10), rel=0.03)


@pytest.mark.parametrize(("radius", "lesion"), [(10.0, 5.0)])
def test_round_middle_cuts_agree(radius, lesion):
    mean = by_elements("middle", radius, 60.0).mean(0, lesion)
    for shift in SHIFTS:
        ours = by_foundation("middle", radius, lesion, 60.0, cell_of(radius), shift)[0]
        assert ours == pytest.approx(mean, rel=WITHIN, abs=WITHIN_KPA)
        assert ours >= mean - max(HOPEFUL * mean, HOPEFUL_KPA)


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize(("radius", "lesion"), [(8.0, 4.0), (10.0, 5.0), (15.0, 10.0)])
def test_cells_half_as_large_leave_the_same(cut, radius, lesion):
    """3 % or 1 kPa."""
    plan, half = (
        np.mean([by_foundation(cut, radius, lesion, 60.0, cell, shift)[0] for shift in SHIFTS])
        for cell in (2.5, 1.25)
    )
    assert plan == pytest.approx(half, rel=0.03, abs=1.0)


def main():
    print("cut radius/lesion far | elements | foundation at three places | worst | closed | rim peak")
    for far in LOADS:
        for cut in CUTS:
            for radius, lesion in VOIDS:
                found = by_elements(cut, radius, far)
                ours = [by_foundation(cut, radius, lesion, far, cell_of(radius), at) for at in SHIFTS]
                mean = found.mean(0, lesion)
                told = " ".join(f"{one[0]:.1f}" for one in ours)
                miss = f"{min(o[0] for o in ours) - mean:+.1f} {max(o[0] for o in ours) - mean:+.1f}"
                shut = f"{found.most_closed:.2f} {ours[0][3]:.2f}"
                peaks = f"{found.peak(radius, radius + 10):.1f} {ours[0][2]:.1f}"
                print(
                    f"{cut} {radius:g}/{lesion:g} {far:g} | {mean:.1f} | {told} | {miss} | {shut} | {peaks}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
