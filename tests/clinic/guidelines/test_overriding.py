"""A known danger is weighed by two; an unknown one is measured; some are signed by nobody."""

from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.overriding import overriding_of
from clinic.guidelines.standing import standing
from clinic.guidelines.standing_findings import InfectionFinding, LimbFindings, PerfusionFinding
from tests.clinic.guidelines.standing_strategies import TODAY, any_findings

CLEAN = {"signs": (), "looked": True, "deep": False, "bone": "no", "unwell": False, "by": "podiatrist"}


def state(*, toe=75, **infection):
    findings = LimbFindings(
        perfusion=(PerfusionFinding(TODAY, toe_pressure_mmhg=toe),) if toe is not None else (),
        infection=(InfectionFinding(TODAY, **{**CLEAN, **infection}),),
    )
    return standing(findings, TODAY)


def test_a_known_severe_ischaemia_is_signed_by_a_second_clinician():
    assert overriding_of(state(toe=22), ()).kind == "second"


def test_a_danger_not_known_is_measured_and_named():
    asked = overriding_of(state(toe=None), ())
    assert asked.kind == "measure"
    assert "perfusion of the foot" in asked.words
    assert overriding_of(state(bone="possible"), ()).kind == "measure"
    assert overriding_of(state(unwell=True), ()).kind == "measure"
    assert overriding_of(state(), ["falls risk"]).words.endswith("not overridden: falls risk.")


def test_an_abscess_is_overridden_by_nobody():
    asked = overriding_of(state(signs=("pus", "redness"), redness_mm=10, deep=True), ())
    assert asked.kind == "barred"
    assert "abscess" in asked.words


@given(findings=any_findings, missing=st.lists(st.sampled_from(["falls risk", "cause"]), max_size=2))
def test_nobody_signs_over_a_bar_and_nobody_over_what_is_not_known(findings, missing):
    found = standing(findings, TODAY)
    asked = overriding_of(found, missing)
    if found.override_barred:
        assert asked.kind == "barred"
        assert all(word in asked.words for word in found.override_barred)
    elif (
        missing
        or found.ischaemia.grade is None
        or not found.ischaemia.settled
        or found.infection.grade is None
    ):
        assert asked.kind == "measure"
    if asked.kind == "second":
        assert found.ischaemia.settled
        assert found.infection.bone not in (None, "possible")
        assert found.infection.deep is False
