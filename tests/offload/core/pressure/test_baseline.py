from dataclasses import replace

import numpy as np
import pytest

from offload.core.errors import SpecError
from offload.core.pressure.baseline import (
    LOAD_CASES,
    baseline_for,
    lattice_for,
    load_case_of,
    reference_print,
)
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.insole import insole_for, move_landmark, move_zone_lines
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline
from tests.offload.core.pressure_plans import force_of

INSOLE = insole_for(260.0, 98.0)
LATTICE = lattice_for(INSOLE, 2.5)
BODY = 80.0 * 9.80665


def lesion(y: float) -> LesionSpec:
    return LesionSpec("A", Outline.ellipse((0.0, y), 12.0, 12.0))


def measured(
    kind: str, kpa: float = 60.0, rows: int = 40, columns: int = 10, origin=(-25.0, 20.0)
) -> PressureMap:
    return PressureMap(tuple((kpa,) * columns for _ in range(rows)), (5.0, 5.0), origin, kind)


def test_the_reference_print_is_the_published_map():
    # Pataky 2011, as counted in its file: 54 loaded rows; 660 and 657 loaded cells; largest value 402 and
    # 392.
    grid = reference_print()
    assert grid.shape == (54, 20)
    assert 0.97 * 402 < grid.max() <= (402 + 392) / 2
    assert grid.sum() * 25e-3 == pytest.approx((1640.975 + 1632.300) / 2, rel=1e-6)
    assert grid[int(0.51 * 54) + 1 :].sum() * 25e-3 == pytest.approx(971, rel=0.01)


@pytest.mark.parametrize(
    ("y", "case"), [(30, "heel_strike"), (100, "mid_stance"), (190, "push_off"), (240, "push_off")]
)
def test_a_lesion_is_solved_in_the_case_that_loads_its_zone(y, case):
    assert load_case_of(INSOLE, lesion(y)) == case


@pytest.mark.parametrize(("case", "share"), [("push_off", 1.1), ("heel_strike", 1.1), ("mid_stance", 1.0)])
def test_the_loaded_part_carries_the_cases_share_of_body_weight(case, share):
    found = baseline_for(INSOLE, 80.0, case, LATTICE)
    assert found.load.force_n == pytest.approx(share * BODY)
    low, high, _ = INSOLE.zone_lines
    loaded = found.lattice.y[found.pressure_kpa.any(axis=1)]
    if case == "push_off":
        assert loaded.min() >= high
    if case == "heel_strike":
        assert loaded.max() < low
    assert found.kind == "reference"
    assert f"multiplied by {found.factor:.3f}" in found.notes[0]


def test_the_forefoot_peak_lies_under_the_second_and_third_heads():
    found = baseline_for(INSOLE, 80.0, "push_off", LATTICE)
    row, column = np.unravel_index(found.pressure_kpa.argmax(), found.pressure_kpa.shape)
    marks = {mark.name: mark.at for mark in INSOLE.landmarks}
    between = np.mean([marks["metatarsal_head_2"], marks["metatarsal_head_3"]], axis=0)
    assert np.hypot(*(np.array([found.lattice.x[column], found.lattice.y[row]]) - between)) < 6.0


def test_the_map_follows_a_dragged_landmark():
    marks = {mark.name: mark.at for mark in INSOLE.landmarks}
    moved = INSOLE
    for name in ("metatarsal_head_1", "metatarsal_head_2", "metatarsal_head_3", "metatarsal_head_5"):
        moved = move_landmark(moved, name, (marks[name][0], marks[name][1] - 10.0))
    before = baseline_for(INSOLE, 80.0, "push_off", LATTICE)
    after = baseline_for(moved, 80.0, "push_off", LATTICE)
    assert after.load.moment_y < before.load.moment_y


def test_moved_zone_lines_move_the_loaded_part():
    low, high, toes = INSOLE.zone_lines
    moved = move_zone_lines(INSOLE, (low, high + 15.0, toes))
    found = baseline_for(moved, 80.0, "push_off", LATTICE)
    assert found.lattice.y[found.pressure_kpa.any(axis=1)].min() >= high + 15.0


def test_a_measured_instant_is_used_as_it_is():
    given = measured("instant")
    found = baseline_for(INSOLE, 80.0, "push_off", lattice_for(INSOLE, 2.5, given), given)
    assert found.kind == "measured"
    assert found.factor == 1.0
    assert found.load.force_n == pytest.approx(force_of(given), rel=1e-9)
    assert found.pressure_kpa.max() == pytest.approx(60.0)


def test_a_measured_peak_map_is_scaled_within_the_cases_zone_only():
    given = measured("peak")
    found = baseline_for(INSOLE, 80.0, "push_off", lattice_for(INSOLE, 2.5, given), given)
    assert found.load.force_n == pytest.approx(1.1 * BODY)
    assert found.pressure_kpa.max() == pytest.approx(60.0 * found.factor)
    assert found.lattice.y[found.pressure_kpa.any(axis=1)].min() >= INSOLE.zone_lines[1]


@pytest.mark.parametrize("cell", [(4.0, 7.0), (5.08, 5.08), (10.0, 10.0)])
def test_the_integral_of_a_map_is_kept_whatever_its_cells(cell):
    rows, columns = int(200 / cell[1]), int(45 / cell[0])
    kpa = np.random.default_rng(3).uniform(10, 90, (rows, columns))
    given = PressureMap(tuple(map(tuple, kpa.tolist())), cell, (-22.0, 22.0), "instant")
    found = baseline_for(INSOLE, 80.0, "mid_stance", lattice_for(INSOLE, 2.5, given), given)
    assert found.load.force_n == pytest.approx(force_of(given), rel=1e-9)


def test_map_cells_off_the_insole_are_left_out():
    inside = measured("instant", rows=40)
    wide = replace(inside, kpa=tuple((200.0,) + row for row in inside.kpa), origin=(-75.0 + 5.0, 20.0))
    wide = replace(wide, kpa=tuple((row[0],) + (0.0,) * 8 + row[1:] for row in wide.kpa))
    found = baseline_for(INSOLE, 80.0, "mid_stance", lattice_for(INSOLE, 2.5, wide), wide)
    assert found.load.force_n == pytest.approx(force_of(inside), rel=1e-9)


@pytest.mark.parametrize("case", LOAD_CASES)
def test_a_peak_map_without_load_in_the_cases_part_is_refused(case):
    given = measured("peak", rows=6, origin=(-25.0, 90.0 if case != "mid_stance" else 20.0))
    lattice = lattice_for(INSOLE, 2.5, given)
    if case == "mid_stance":
        assert baseline_for(INSOLE, 80.0, case, lattice, given).load.force_n == pytest.approx(BODY)
    else:
        with pytest.raises(SpecError, match="carries 0 N"):
            baseline_for(INSOLE, 80.0, case, lattice, given)


def test_a_map_without_any_load_is_refused():
    given = measured("peak", kpa=0.0)
    with pytest.raises(SpecError, match="carries 0 N on the insole"):
        baseline_for(INSOLE, 80.0, "push_off", lattice_for(INSOLE, 2.5, given), given)
