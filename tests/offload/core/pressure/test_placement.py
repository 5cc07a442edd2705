"""Lesions and pressure cells on the insole, and the load that one instant can carry."""

import pytest

from offload.core.pressure.grid import PressureMap
from offload.core.pressure.placement import (
    STANDARD_GRAVITY,
    faults_of_lesions,
    faults_of_map,
    share_off_insole,
)
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

INSOLE = Outline(((-40, 0), (40, 0), (40, 270), (-40, 270)))


def row_map(*kpa, kind="peak"):
    """Cells of 10 × 10 mm in one row that begins 20 mm medially of the lateral edge."""
    return PressureMap((tuple(float(value) for value in kpa),), (10.0, 10.0), (20.0, 100.0), kind)


def test_a_lesion_partly_off_the_insole_is_named_with_its_share():
    lesion = LesionSpec("A", Outline(((30, 100), (50, 100), (50, 120), (30, 120))))
    assert [str(fault) for fault in faults_of_lesions([lesion], INSOLE)] == [
        "lesions: ulcer A lies 200.0 mm² (50 %) off the insole; the limit is 0: wholly on it"
    ]


def test_a_lesion_that_touches_the_edge_is_on_the_insole():
    lesion = LesionSpec("A", Outline(((30, 100), (40, 100), (40, 120), (30, 120))))
    assert faults_of_lesions([lesion], INSOLE) == []


def test_cells_off_the_insole_are_counted_by_their_load():
    assert share_off_insole(row_map(100, 100, 50, 0), INSOLE) == pytest.approx(20.0)


@pytest.mark.parametrize(("outside", "faults"), [(22, 0), (23, 1)])
def test_more_than_ten_percent_off_the_insole_is_a_fault(outside, faults):
    found = faults_of_map(row_map(100, 100, outside), INSOLE, 80.0)
    assert len(found) == faults


@pytest.mark.parametrize(("weights", "faults"), [(0.29, 1), (0.31, 0), (1.39, 0), (1.41, 1)])
def test_one_instant_carries_three_tenths_to_one_and_four_tenths_body_weights(weights, faults):
    # 1 kPa on 100 mm² is 0.1 N
    kpa = weights * 80.0 * STANDARD_GRAVITY / 0.1
    assert len(faults_of_map(row_map(kpa, kind="instant"), INSOLE, 80.0)) == faults
    assert faults_of_map(row_map(kpa, kind="peak"), INSOLE, 80.0) == []


def test_a_map_knows_its_force_and_the_middles_of_its_cells():
    cells = row_map(100, 50)
    assert cells.force() == pytest.approx(15.0)
    xs, ys = cells.centres()
    assert xs.tolist() == [25.0, 35.0]
    assert ys.tolist() == [105.0]
