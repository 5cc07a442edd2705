"""Dangers that stand are shown each time and raised once."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings

from clinic.guidelines.known_dangers import Owned, dangers, strip, to_raise
from clinic.guidelines.standing import standing
from clinic.guidelines.standing_findings import InfectionFinding, LimbFindings, PerfusionFinding
from tests.clinic.guidelines.standing_strategies import TODAY, any_findings

WEEK = timedelta(weeks=1)


def test_a_foot_that_cannot_be_revascularised_alarms_once_in_six_weeks():
    first, raised, taken = date(2026, 3, 12), [], []
    readings = ()
    for week in range(7):
        today = first + week * WEEK
        readings = (*readings, PerfusionFinding(today, toe_pressure_mmhg=22 - week % 2))
        state = standing(LimbFindings(perfusion=readings), today)
        raised += [danger.id for danger in to_raise(dangers(state), taken, today)]
        assert "toe pressure 2" in strip(state, taken)[0]
        taken = [Owned("ischaemia", 3, "vascular team", today + 2 * WEEK)]
    assert raised == ["ischaemia"]


def test_it_is_raised_again_when_worse_or_past_its_date():
    moderate = dangers(
        standing(LimbFindings(perfusion=(PerfusionFinding(TODAY, toe_pressure_mmhg=35),)), TODAY)
    )
    severe = dangers(
        standing(LimbFindings(perfusion=(PerfusionFinding(TODAY, toe_pressure_mmhg=22),)), TODAY)
    )
    taken = [Owned("ischaemia", 2, "vascular team", TODAY + WEEK)]
    assert to_raise(moderate, taken, TODAY) == ()
    assert [d.id for d in to_raise(severe, taken, TODAY)] == ["ischaemia"]
    assert to_raise(moderate, taken, TODAY + WEEK) == ()
    assert [d.id for d in to_raise(moderate, taken, TODAY + 2 * WEEK)] == ["ischaemia"]


def test_the_strip_says_what_since_when_what_it_forbids_and_who_has_it():
    state = standing(
        LimbFindings(perfusion=(PerfusionFinding(date(2026, 3, 12), toe_pressure_mmhg=22),)), TODAY
    )
    assert strip(state) == (
        "Ischaemia grade 3 (severe) by toe pressure 22 mmHg on 12 Mar 2026. Forbids a non-removable "
        "device. Nobody "
        "has "
        "taken it.",
    )
    taken = [Owned("ischaemia", 3, "Vascular team", date(2026, 5, 3))]
    assert strip(state, taken)[0].endswith("Vascular team, next 3 May 2026.")


def test_an_urgent_line_beside_a_moderate_grade_is_said_and_presses_as_a_severe_one():
    toe = PerfusionFinding(TODAY, toe_pressure_mmhg=35)
    ankle = PerfusionFinding(TODAY, tcpo2_mmhg=30, ankle_pressure_mmhg=30)
    moderate = dangers(standing(LimbFindings(perfusion=(toe,)), TODAY))
    urgent = dangers(standing(LimbFindings(perfusion=(ankle,)), TODAY))
    assert [(d.id, d.level, d.pressing) for d in urgent] == [("ischaemia", 3, 9)]
    assert "below 50 mmHg" in urgent[0].words
    taken = [Owned("ischaemia", moderate[0].level, "vascular team", TODAY + WEEK)]
    assert to_raise(urgent, taken, TODAY) == urgent


@settings(max_examples=200)
@given(any_findings)
def test_every_urgent_line_and_every_forbidding_danger_stands_in_the_strip(findings):
    state = standing(findings, TODAY)
    found = dangers(state)
    if state.ischaemia.urgent or state.infection.urgent:
        assert found
        assert found[0].pressing >= 6
    assert [d.pressing for d in found] == sorted((d.pressing for d in found), reverse=True)
    owned = [Owned(d.id, d.level, "team", TODAY) for d in found]
    assert to_raise(found, owned, TODAY) == ()
    assert to_raise(found, owned, TODAY + timedelta(days=1)) == found
    assert to_raise(found, [], TODAY) == found
    if state.override_barred:
        assert any("whoever signs" in d.forbids for d in found)


def test_a_danger_lifted_leaves_the_strip():
    mild = InfectionFinding(TODAY - 2 * timedelta(days=1), signs=("pus", "warmth"), looked=True)
    toe = PerfusionFinding(TODAY, toe_pressure_mmhg=70)
    before = LimbFindings(perfusion=(toe,), infection=(mild,))
    clean = InfectionFinding(TODAY, signs=(), looked=True, deep=False, bone="no", unwell=False)
    assert [d.id for d in dangers(standing(before, TODAY))] == ["infection"]
    assert strip(standing(replace(before, infection=(mild, clean)), TODAY)) == ()
