"""The foundation against finite elements, and against its own energy minimised by SciPy."""

from functools import cache

import numpy as np
import pytest

from offload.core.foam import Series, packaged_foams
from offload.core.foundation import Foundation
from offload.core.lattice import Lattice, Load
from offload.core.stack import DEMONSTRATION_STACK
from offload.core.void import Footprint, foams_of, void_of
from tests.bench.beds import bed_of, plan_for, scene_of
from tests.bench.foundation_by_scipy import solve
from tests.oracles.plane_strain import press_strip
from tests.oracles.timing import seconds

pytestmark = pytest.mark.oracle

FOAMS = foams_of(DEMONSTRATION_STACK, packaged_foams())
THICKNESS = tuple(layer.thickness for layer in DEMONSTRATION_STACK)
MODULUS = tuple(foam.modulus_kpa for foam in FOAMS)
CUTS = {"middle": 1, "base": 2}
HALF_WIDTHS = (8, 12, 18, 25)
DESCENT, TISSUE, REACH, MARGIN = 3.0, 50.0, 60.0, 5.0
FAR = 58.8
"""Pressure far from the void [kPa]: 3 mm over springs of 50 kPa/mm and a stack of 1000/31 kPa/mm in series."""


@cache
def by_elements(cut, half_width, size=0.5):
    return press_strip(THICKNESS, MODULUS, CUTS[cut], half_width, DESCENT, TISSUE, REACH, size)


@cache
def by_foundation(cut, half_width, cell=0.5):
    """The program's void and solver on a long strip, its foams held to their first slope; pressed to the same descent.

    The solver takes a force, so the force is sought that gives the descent: their relation rises steadily.
    """
    n = round(2 * REACH / cell)
    y = (np.arange(n) + 0.5) * cell - REACH
    shape = (n, 3)
    lattice = Lattice(np.array([-1.0, 0.0, 1.0]) * cell, y, cell, cell, np.ones(shape, dtype=bool))
    outside = np.broadcast_to((np.abs(y) - half_width)[:, None], shape)
    inside = (outside < 0).astype(float)
    index = CUTS[cut]
    footprint = Footprint(THICKNESS[index] * inside, inside, outside)
    void = void_of(footprint, (index,), DEMONSTRATION_STACK, FOAMS, lattice)
    compliance = (void.left_mm / np.array(MODULUS).reshape(3, 1, 1)).sum(axis=0)
    bed = Foundation(lattice, Series.linear(compliance), void.depth_mm, void.foundation.coupling)
    low, high = 0.2 * FAR, FAR
    for _ in range(60):
        mean = 0.5 * (low + high)
        load = Load(mean * 1e-3 * 3 * n * lattice.area, 0.0, 0.0)
        state = bed.press(np.zeros(shape), np.ones(shape, dtype=bool), TISSUE, load)
        low, high = (low, mean) if state.motion[0] > DESCENT else (mean, high)
    assert state.motion[0] == pytest.approx(DESCENT, abs=1e-9)
    return np.abs(y), state.pressure_kpa[:, 1]


def figures(cut, half_width):
    """Finite elements and foundation: mean over the lesion, mean and peak over the rim, mean over the whole strip."""
    found = by_elements(cut, half_width)
    x, p = by_foundation(cut, half_width)
    rim = (x > half_width) & (x < half_width + 10.0)
    lesion = half_width - MARGIN
    theirs = (
        found.mean(0, lesion),
        found.mean(half_width, half_width + 10),
        found.peak(half_width, half_width + 10),
    )
    ours = (p[x < lesion].mean(), p[rim].mean(), p[rim].max())
    return (*theirs, found.mean(0, REACH)), (*ours, p.mean())


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("half_width", HALF_WIDTHS)
def test_the_finite_elements_have_converged(cut, half_width):
    """Elements twice as large change a mean by less than 0.3 kPa of 59.

    A linear run also needs the void to stay open. The roof sinks by 0.6 of the void's height or less under the foot; where
    the cover over a wide middle cut has left the foot its middle sags further, by 0.85 at 18 mm and 1.05 at 25 mm, where
    it carries nothing.
    """
    coarse, fine = by_elements(cut, half_width, 1.0), by_elements(cut, half_width)
    assert fine.most_closed < (1.1 if cut == "middle" else 0.7)
    assert fine.mean(REACH - 5, REACH) == pytest.approx(FAR, abs=0.3)
    for low, high in ((0, half_width - MARGIN), (half_width, half_width + 10), (0, REACH)):
        assert coarse.mean(low, high) == pytest.approx(fine.mean(low, high), abs=0.3)


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("half_width", HALF_WIDTHS)
def test_the_rim_and_the_whole_load_agree_with_finite_elements(cut, half_width):
    """10 % on the mean over the 10 mm rim, 3 % on its peak, 6 % on the whole load at one descent.

    Seen: the mean is 5 to 7 % under the finite elements, the peak 1 to 2 % and the load 4 to 5 % under.
    """
    theirs, ours = figures(cut, half_width)
    assert ours[1] == pytest.approx(theirs[1], rel=0.10)
    assert ours[2] == pytest.approx(theirs[2], rel=0.03)
    assert ours[3] == pytest.approx(theirs[3], rel=0.06)


@pytest.mark.parametrize("half_width", HALF_WIDTHS)
def test_under_an_open_middle_cut_both_leave_the_lesion_nearly_free(half_width):
    """Finite elements leave nothing on the lesion, the foundation 0.5 to 3.4 kPa of the 59 around it: under 7 %."""
    theirs, ours = figures("middle", half_width)
    assert theirs[0] < 1.0
    assert ours[0] < 0.07 * FAR


@pytest.mark.parametrize("half_width", [12, 18, 25])
def test_under_a_wide_base_cut_the_lesion_agrees_within_5_percent_of_the_pressure_around(half_width):
    """Half widths 12, 18, 25 mm: finite elements 9.0, 3.7, 2.1 kPa, foundation 7.3, 4.3, 2.8 kPa."""
    theirs, ours = figures("base", half_width)
    assert abs(theirs[0] - ours[0]) < 0.05 * FAR


def test_under_a_narrow_base_cut_the_foundation_promises_more_relief_than_finite_elements():
    """A known gap, stated and not mended: at a half width of 8 mm finite elements leave 21 kPa, the foundation 12.

    A narrow void also feels the bending of the 9 mm of foam that span it, which the foundation lacks. The lesion falls
    from 59 kPa by 64 % and not by 79 %. The band says that the foundation errs to the hopeful side and by no more than
    a sixth of the pressure around; a model that closes the gap passes too.
    """
    theirs, ours = figures("base", 8)
    assert theirs[0] - ours[0] < FAR / 6
    assert theirs[0] - ours[0] > -0.05 * FAR


@pytest.mark.parametrize("half_width", HALF_WIDTHS)
def test_both_rank_the_middle_cut_before_the_base_cut_while_the_void_is_open(half_width):
    middle, base = figures("middle", half_width), figures("base", half_width)
    for one, other in zip(middle, base, strict=True):
        assert one[0] < other[0]


def test_table_of_finite_elements_and_foundation(capsys):
    """Prints the figures that the tests above hold; asserts only that widening a cut frees the lesion in both."""
    rows, lesions = [], {}
    for cut in CUTS:
        for half_width in HALF_WIDTHS:
            theirs, ours = figures(cut, half_width)
            lesions.setdefault(cut, []).append((theirs[0], ours[0]))
            pairs = "".join(f"{a:9.1f}{b:7.1f}" for a, b in zip(theirs, ours, strict=True))
            rows.append(f"{cut:7}{half_width:4} mm{pairs}")
    spent = seconds(lambda: by_elements.__wrapped__("base", 12), 1)
    own = seconds(lambda: by_foundation.__wrapped__("base", 12), 1) / 60
    with capsys.disabled():
        print(
            "\nPressure [kPa], finite elements | foundation (linear foams, 3 mm descent, 59 kPa far away)\n"
            "cut  half width    lesion mean        rim mean        rim peak      whole strip\n"
            + "\n".join(rows)
        )
        print(
            f"Finite elements: quadratic quadrilaterals of 0.5 mm, {by_elements('base', 12).unknowns:,} unknowns, "
            f"{spent:.2f} s; foundation: {round(2 * REACH / 0.5)} x 3 cells of 0.5 mm, {1e3 * own:.2f} ms a solve"
        )
    for pairs in lesions.values():
        for wider, narrower in zip(pairs[1:], pairs, strict=False):
            assert wider[1] < narrower[1]
    for wider, narrower in zip(lesions["base"][1:], lesions["base"], strict=False):
        assert wider[0] < narrower[0]


@pytest.mark.parametrize("cell", [10.0, 5.0, 2.5])
@pytest.mark.parametrize(
    ("weight", "cut"), [(60.0, "middle"), (110.0, "middle"), (110.0, "base"), (110.0, "middle+base")]
)
def test_a_general_minimiser_finds_the_same_rest(cell, weight, cut):
    """The energy of a real plan minimised by SciPy from nothing: every cell within 0.001 kPa of some 300 at the peak."""
    scene, case, void = scene_of(plan_for(weight, cut), cell)
    ours = case.press(void, scene.tissue)
    theirs = solve(bed_of(scene, case, void))
    assert np.abs(ours.pressure_kpa - theirs.pressure_kpa).max() < 1e-3
    touched = ours.pressure_kpa > 0
    assert np.abs(ours.displacement - theirs.displacement)[touched].max() < 1e-4


@pytest.mark.parametrize("cell", [5.0, 2.5])
def test_time_beside_a_general_minimiser(cell, capsys):
    scene, case, void = scene_of(plan_for(), cell)
    bed = bed_of(scene, case, void)
    ours, theirs = seconds(lambda: case.press(void, scene.tissue), 5), seconds(lambda: solve(bed), 2)
    with capsys.disabled():
        print(
            f"\nOne solve, {int(bed.support.sum()):,} cells of {cell:g} mm: {1e3 * ours:.1f} ms, SciPy's L-BFGS-B "
            f"on the same energy {1e3 * theirs:.0f} ms, ratio {theirs / ours:.0f}"
        )
    assert ours < theirs
