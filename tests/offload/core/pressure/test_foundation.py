import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.foam.law import Series, packaged_foams
from offload.core.pressure.foundation import Foundation, Start
from offload.core.pressure.lattice import Lattice, Load, SolverError

FOAMS = [packaged_foams()[name] for name in ("soft", "medium", "firm")]
THICK = np.array([3.0, 6.0, 6.0])
SHAPE = (16, 12)


def lattice(cell: float = 4.0) -> Lattice:
    ny, nx = SHAPE
    return Lattice(np.arange(nx) * cell - 22.0, np.arange(ny) * cell, cell, cell, np.ones(SHAPE, dtype=bool))


def foundation(cells: Lattice, gap: np.ndarray, coupling: float = 400.0) -> Foundation:
    left = np.broadcast_to(THICK[:, None, None], (3, *SHAPE)).copy()
    left[1] -= np.minimum(gap, 6.0)
    left[2] -= np.maximum(gap - 6.0, 0.0)
    return Foundation(cells, Series(left, FOAMS), gap, np.full(SHAPE, coupling))


def foot(seed: int, peak: float = 300.0) -> np.ndarray:
    """A smooth random print that leaves some cells unloaded."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    p = sum(
        rng.uniform(0.2, 1)
        * np.exp(-((x - rng.uniform(2, 10)) ** 2 + (y - rng.uniform(2, 14)) ** 2) / rng.uniform(4, 20))
        for _ in range(4)
    )
    p = np.maximum(p / p.max() - 0.1, 0.0)
    return peak * p / p.max()


def hole(seed: int, depth: float) -> np.ndarray:
    rng = np.random.default_rng(seed + 1000)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    r = np.hypot(x - rng.uniform(3, 8), y - rng.uniform(4, 12))
    return depth * np.clip(3.5 - r, 0.0, 1.0)


def cut_and_press(seed, depth, tissue=50.0, coupling=400.0, peak=300.0):
    cells, p0 = lattice(), foot(seed, peak)
    u0 = foundation(cells, np.zeros(SHAPE), coupling).settle(p0)
    bed = foundation(cells, hole(seed, depth), coupling)
    return cells, p0, bed, bed.press(u0 + p0 / tissue, p0 > 0, tissue, cells.load_of(p0), Start(u0))


@given(
    seed=st.integers(0, 10**6),
    depth=st.floats(0.5, 12.0),
    tissue=st.sampled_from([25.0, 50.0, 100.0]),
    coupling=st.floats(0.0, 2000.0),
    peak=st.floats(50.0, 600.0),
)
@settings(max_examples=40)
def test_a_cut_keeps_the_load_and_both_moments(seed, depth, tissue, coupling, peak):
    cells, p0, bed, found = cut_and_press(seed, depth, tissue, coupling, peak)
    before, after = cells.load_of(p0), found.load
    assert after.force_n == pytest.approx(before.force_n, rel=1e-7)
    reach = 30.0 * before.force_n
    assert after.moment_x == pytest.approx(before.moment_x, abs=1e-6 * reach)
    assert after.moment_y == pytest.approx(before.moment_y, abs=1e-6 * reach)
    assert found.pressure_kpa.min() >= 0
    # Each cell is at rest: what the foot presses, the column and its neighbours carry.
    spread = bed._spread(found.displacement) / cells.area
    assert np.abs(found.foam_kpa + spread - found.pressure_kpa).max() <= 1e-6 * found.pressure_kpa.max()


@given(
    seed=st.integers(0, 10**6), tissue=st.sampled_from([25.0, 50.0, 100.0]), coupling=st.floats(0.0, 2000.0)
)
@settings(max_examples=25)
def test_no_cut_gives_the_baseline_back(seed, tissue, coupling):
    _, p0, _, found = cut_and_press(seed, 0.0, tissue, coupling)
    assert np.abs(found.pressure_kpa - p0).max() <= 1e-7 * p0.max()


@given(seed=st.integers(0, 10**6))
@settings(max_examples=15)
def test_a_deeper_cut_never_raises_the_mean_over_the_hole(seed):
    means = []
    for depth in (1.0, 2.0, 4.0, 6.0):
        _, _, bed, found = cut_and_press(seed, depth)
        means.append(found.pressure_kpa[bed.gap_mm > 0.9 * depth].mean())
    assert all(b <= a + 1e-6 for a, b in zip(means, means[1:], strict=False))


@given(seed=st.integers(0, 10**6))
@settings(max_examples=15)
def test_any_start_leads_to_the_same_rest(seed):
    cells, p0, bed, found = cut_and_press(seed, 6.0)
    u0 = foundation(cells, np.zeros(SHAPE)).settle(p0)
    profile, load = u0 + p0 / 50.0, cells.load_of(p0)
    for start in (None, Start(np.zeros(SHAPE)), Start(np.full(SHAPE, 5.0), (2.0, 0.01, -0.01))):
        again = bed.press(profile, p0 > 0, 50.0, load, start)
        assert np.abs(again.pressure_kpa - found.pressure_kpa).max() <= 1e-5 * p0.max()


def test_the_mirrored_foot_gives_the_mirrored_answer():
    cells, p0, bed, found = cut_and_press(7, 6.0)
    cells = Lattice(-cells.x[::-1], cells.y, cells.dx, cells.dy, cells.support)
    mirrored = foundation(cells, bed.gap_mm[:, ::-1])
    p1 = p0[:, ::-1]
    u1 = foundation(cells, np.zeros(SHAPE)).settle(p1)
    again = mirrored.press(u1 + p1 / 50.0, p1 > 0, 50.0, cells.load_of(p1), Start(u1))
    assert np.abs(again.pressure_kpa[:, ::-1] - found.pressure_kpa).max() < 1e-5


def test_without_coupling_the_bed_is_a_bed_of_springs():
    cells, p0, bed, found = cut_and_press(3, 3.0, coupling=0.0)
    column, _ = bed.columns.pressure(found.displacement - bed.gap_mm)
    loaded = found.pressure_kpa > 0
    assert column[loaded] == pytest.approx(found.pressure_kpa[loaded], abs=1e-4)
    assert np.all(found.displacement[(bed.gap_mm > 0) & loaded] >= bed.gap_mm[(bed.gap_mm > 0) & loaded])


def test_vanishing_coupling_tends_to_the_bed_of_springs():
    springs = cut_and_press(3, 3.0, coupling=0.0)[3].pressure_kpa
    near = [
        np.abs(cut_and_press(3, 3.0, coupling=c)[3].pressure_kpa - springs).max() for c in (10.0, 1.0, 0.1)
    ]
    assert near[0] > 3 * near[1] > 9 * near[2]


def test_foam_off_the_insole_takes_no_part():
    cells = lattice()
    support = cells.support.copy()
    support[:, :2] = False
    cells = Lattice(cells.x, cells.y, cells.dx, cells.dy, support)
    p0 = foot(5)
    u = foundation(cells, np.zeros(SHAPE)).settle(p0)
    assert np.all(u[:, :2] == 0)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        (Load(0.0, 0.0, 0.0), "above 0 N"),
        (Load(float("nan"), 0.0, 0.0), "above 0 N"),
        (Load(100.0, 0.0, 100.0 * 90), "within the cells in contact"),
        (Load(100.0, -100.0 * 40, 100.0 * 30), "within the cells in contact"),
    ],
)
def test_a_load_that_cannot_stand_is_refused(load, words):
    bed = foundation(lattice(), np.zeros(SHAPE))
    with pytest.raises(SolverError, match=words):
        bed.press(np.zeros(SHAPE), np.ones(SHAPE, dtype=bool), 50.0, load)


def test_a_foot_over_no_foam_and_a_tissue_without_stiffness_are_refused():
    bed = foundation(lattice(), np.zeros(SHAPE))
    with pytest.raises(SolverError, match="at least 3"):
        bed.press(np.zeros(SHAPE), np.zeros(SHAPE, dtype=bool), 50.0, Load(100.0, 0.0, 3000.0))
    with pytest.raises(SolverError, match="tissue stiffness"):
        bed.press(np.zeros(SHAPE), np.ones(SHAPE, dtype=bool), 0.0, Load(100.0, 0.0, 3000.0))


def test_shapes_and_signs_that_cannot_be_are_refused():
    cells = lattice()
    columns = Series(np.broadcast_to(THICK[:, None, None], (3, *SHAPE)), FOAMS)
    flat = np.zeros(SHAPE)
    with pytest.raises(SolverError, match="shape"):
        Foundation(cells, columns, flat[1:], flat)
    with pytest.raises(SolverError, match="gap_mm"):
        Foundation(cells, columns, flat - 1.0, flat)
    with pytest.raises(SolverError, match="coupling"):
        Foundation(cells, columns, flat, flat - 1.0)
