"""WIfI ischaemia thresholds (Mills 2014, as reproduced in PMC11279131, table 2) and the urgent lines of the
intersocietal guideline 2023 (Fitridge R et al., Diabetes Metab Res Rev 2024;40(3):e3686)."""

import pytest

from clinic.guidelines.grading import brachial_index, ischaemia_grade


@pytest.mark.parametrize(
    ("toe", "grade"),
    [(60, 0), (59, 1), (59.9, 1), (40, 1), (39, 2), (39.9, 2), (30, 2), (29, 3), (29.9, 3), (0, 3)],
)
def test_toe_pressure_and_tcpo2(toe, grade):
    assert ischaemia_grade(toe_pressure=toe).grade == grade
    assert ischaemia_grade(tcpo2=toe).grade == grade


@pytest.mark.parametrize(
    ("index", "grade"),
    [(1.3, 0), (0.80, 0), (0.79, 1), (0.795, 1), (0.60, 1), (0.59, 2), (0.40, 2), (0.39, 3), (0.395, 3)],
)
def test_ankle_brachial_index(index, grade):
    assert ischaemia_grade(ankle_brachial=index).grade == grade


@pytest.mark.parametrize(("pressure", "grade"), [(101, 0), (100, 1), (70, 1), (69, 2), (50, 2), (49, 3)])
def test_ankle_pressure(pressure, grade):
    """70 stands in two printed rows; grade 1 is a design choice."""
    assert ischaemia_grade(ankle_pressure=pressure).grade == grade


def test_an_ankle_of_72_over_an_arm_of_140_is_grade_2_by_index():
    index = brachial_index(72, 140)
    assert index == pytest.approx(0.514, abs=0.001)
    assert ischaemia_grade(ankle_brachial=index).grade == 2
    assert brachial_index(48, 140) == pytest.approx(0.343, abs=0.001)


def test_arteries_that_cannot_be_compressed_leave_the_decision_to_the_toe():
    graded = ischaemia_grade(ankle_brachial=1.31, ankle_pressure=190, toe_pressure=35)
    assert graded.grade == 2
    assert graded.decided_by == ("toe_pressure",)
    ungraded = ischaemia_grade(ankle_brachial=1.31, ankle_pressure=190)
    assert ungraded.grade is None
    assert ungraded.missing == ("toe_pressure", "tcpo2")


def test_the_toe_decides_where_ankle_and_toe_disagree():
    assert ischaemia_grade(ankle_brachial=0.95, toe_pressure=28).grade == 3
    better = ischaemia_grade(ankle_brachial=0.35, toe_pressure=65)
    assert better.grade == 0
    assert "disagree" in better.notes[0]
    assert better.urgent


@pytest.mark.parametrize(
    ("finding", "value", "urgent"),
    [
        ("ankle_pressure", 50, False),
        ("ankle_pressure", 49, True),
        ("ankle_brachial", 0.40, False),
        ("ankle_brachial", 0.39, True),
        ("toe_pressure", 30, False),
        ("toe_pressure", 29, True),
        ("tcpo2", 25, False),
        ("tcpo2", 24, True),
    ],
)
def test_urgent_lines(finding, value, urgent):
    assert bool(ischaemia_grade(**{finding: value}).urgent) is urgent


@pytest.mark.parametrize(
    ("value", "at_25", "at_30"), [(24, True, True), (25, False, True), (29, False, True), (30, False, False)]
)
def test_the_oxygen_line_is_a_setting_with_both_sources(value, at_25, at_30):
    assert bool(ischaemia_grade(tcpo2=value).urgent) is at_25
    assert bool(ischaemia_grade(tcpo2=value, tcpo2_urgent_below=30).urgent) is at_30
    assert any("borderline" in note for note in ischaemia_grade(tcpo2=value).notes) is (25 <= value < 30)
