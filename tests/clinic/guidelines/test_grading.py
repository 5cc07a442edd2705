"""What the grades say when findings are missing, and what they refuse."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.errors import GradingError
from clinic.guidelines.grading import (
    InfectionFindings,
    brachial_index,
    infection_grade,
    ischaemia_grade,
    risk_category,
    sinbad,
    systemic_signs,
    texas,
    wifi_infection,
    wifi_stage,
    wifi_wound,
)
from tests.clinic.guidelines.validation.test_infection import CLEAN


def test_sinbad_names_missing_parts_and_bounds_the_sum():
    score = sinbad(mid_or_hindfoot=1, flow_reduced=True, sensation_lost=True)
    assert score.total is None
    assert (score.at_least, score.at_most) == (3, 6)
    assert score.severe is True
    assert score.missing == ("bacterial_infection", "area", "depth")
    assert sinbad(mid_or_hindfoot=1).severe is None


def test_a_stage_is_given_early_when_the_missing_grade_cannot_change_it():
    assert wifi_stage(3, 2, None).value == "4"
    open_stage = wifi_stage(1, None, 0)
    assert open_stage.value is None
    assert open_stage.possible == ("1", "2", "3")
    assert open_stage.missing == ("ischaemia",)


def test_texas_names_what_is_missing():
    assert texas(depth=1, infected=False).possible == ("1A", "1C")
    assert texas(depth=1, infected=False).missing == ("ischaemic",)


def test_wound_grade_needs_no_depth_once_gangrene_is_extensive():
    assert wifi_wound(gangrene="extensive").value == "3"
    shallow = wifi_wound(ulcer=True, reaches="skin", extensive=False, gangrene="none")
    assert shallow.possible == ("1", "2")
    assert shallow.missing == ("heel",)


def test_risk_keeps_the_interval_of_the_worst_category_left_open():
    risk = risk_category(sensation_lost=True, artery_disease=False, past_ulcer=False, amputation=False)
    assert risk.category is None
    assert risk.possible == (1, 2, 3)
    assert risk.interval_months == (1, 3)
    assert risk.missing == ("deformity", "end_stage_renal_disease")


def test_infection_names_only_findings_that_would_settle_it():
    known = {**CLEAN, "warmth": True, "pus": True}
    reach_missing = infection_grade(InfectionFindings(**{**known, "erythema_cm": None}))
    assert reach_missing.possible == (2, 3)
    assert reach_missing.missing == ("erythema_cm",)
    deep_and_wide = infection_grade(InfectionFindings(**{**known, "erythema_cm": 3.0, "deep": None}))
    assert deep_and_wide.grade == 3
    assert deep_and_wide.missing == ()


def test_bone_not_looked_at_leaves_the_mark_open_though_the_grade_is_settled():
    grade = infection_grade(
        InfectionFindings(**{**CLEAN, "warmth": True, "pus": True, "deep": True, "osteomyelitis": None})
    )
    assert grade.grade == 3
    assert grade.bone is None
    assert grade.missing == ("osteomyelitis",)


def test_nothing_looked_at_leaves_every_grade_open():
    assert infection_grade(InfectionFindings()).possible == (1, 2, 3, 4)
    assert wifi_infection(InfectionFindings()).possible == (0, 1, 2, 3)
    assert ischaemia_grade().missing == ("ankle_pressure", "ankle_brachial", "toe_pressure", "tcpo2")
    assert systemic_signs().two_or_more is None
    assert systemic_signs().missing == ("temperature", "heart_rate", "respiratory_rate", "white_cells")


def test_one_open_sign_beside_one_met_leaves_two_or_more_open():
    assert systemic_signs(temperature=39, heart_rate=80, respiratory_rate=15).two_or_more is None
    assert systemic_signs(temperature=37, heart_rate=80, respiratory_rate=15).two_or_more is False


flag = st.sampled_from([None, False, True])
any_infection = st.builds(
    InfectionFindings,
    **{f.name: flag for f in dataclasses.fields(InfectionFindings) if f.name != "erythema_cm"},
    erythema_cm=st.none() | st.floats(0, 5),
)


@given(any_infection, st.data())
def test_looking_at_one_more_finding_never_opens_a_grade_again(findings, data):
    before = set(infection_grade(findings).possible)
    name = data.draw(st.sampled_from([f.name for f in dataclasses.fields(findings)]))
    if getattr(findings, name) is None:
        seen = data.draw(st.floats(0, 5) if name == "erythema_cm" else st.booleans())
        assert set(infection_grade(dataclasses.replace(findings, **{name: seen})).possible) <= before


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: sinbad(area_cm2=-1), "area_cm2 is -1, must lie from 0"),
        (lambda: sinbad(area_cm2=math.nan), "area_cm2 is nan"),
        (lambda: sinbad(mid_or_hindfoot=2), "mid_or_hindfoot is 2, must be 0 or 1"),
        (lambda: wifi_stage(4, 0, 0), "wound is 4, must be a grade from 0 to 3"),
        (lambda: texas(depth=5), "depth is 5"),
        (lambda: ischaemia_grade(toe_pressure=-1), "toe_pressure is -1, must lie from 0 to 350 mmHg"),
        (lambda: ischaemia_grade(ankle_brachial=4), "ankle_brachial is 4, must lie from 0 to 3"),
        (
            lambda: ischaemia_grade(tcpo2=20, tcpo2_urgent_below=28),
            "tcpo2_urgent_below is 28, must be 25 or 30",
        ),
        (lambda: brachial_index(100, 0), "brachial is 0, must be above 0"),
        (lambda: systemic_signs(temperature=99), "temperature is 99, must lie from 25 to 45"),
        (lambda: infection_grade(InfectionFindings(erythema_cm=-1)), "erythema_cm is -1"),
        (lambda: infection_grade(InfectionFindings(), erythema_2_cm="both"), "erythema_2_cm is both"),
    ],
)
def test_findings_out_of_bounds_are_refused_by_name(call, words):
    with pytest.raises(GradingError, match=words):
        call()
