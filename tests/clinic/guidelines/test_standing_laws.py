"""Laws of the standing state over its whole input space: nothing bad is talked down, aged out or
forgotten.
"""

import os
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.guidelines.devices import NON_REMOVABLE, REFERRALS, URGENCIES
from clinic.guidelines.standing import facts_of, standing
from clinic.guidelines.standing_findings import (
    InfectionFinding,
    LimbFindings,
    PerfusionFinding,
    StandingSettings,
)
from clinic.guidelines.table import decide
from tests.clinic.guidelines.standing_strategies import (
    TODAY,
    any_findings,
    days,
    good_findings,
)

# A few in each run of the suite; LAW_EXAMPLES=2000 asks for as many.
EXAMPLES = int(os.environ.get("LAW_EXAMPLES", "150"))
BAD_BLOOD = (
    {"toe_pressure_mmhg": 12},
    {"tcpo2_mmhg": 12},
    {"ankle_brachial_index": 0.2},
    {"ankle_pressure_mmhg": 30},
    {"toe_brachial_index": 0.2},
    {"pulses": "none"},
    {"waveform": "absent"},
    {"newly_lost_pulse": True},
    {"newly_cold": True},
    {"rest_pain": True},
    {"gangrene": True},
    {"worsening": True},
)
BAD_INFECTION = (
    {"signs": ("warmth",)},
    {"signs": ("redness",)},
    {"signs": ("swelling", "warmth")},
    {"signs": ("redness", "pus"), "redness_mm": 30},
    {"redness_mm": 30},
    {"deep": True},
    {"bone": "possible"},
    {"bone": "probable"},
    {"bone": "proven"},
    {"unwell": True},
    {"temperature_c": 38.4},
    {"temperature_c": 38.4, "pulse_per_min": 96},
    {"other_cause": "thrombosis"},
)
bad_blood = st.builds(lambda on, bad: PerfusionFinding(on, **bad), days, st.sampled_from(BAD_BLOOD))
#: These say nothing of the soft tissue: as a full look they would be a clean one, which is a good finding.
SAYS_NOTHING_OF_SKIN = {"bone", "other_cause"}


def _bad_infection(on, bad, looked, by):
    return InfectionFinding(on, **bad, looked=None if SAYS_NOTHING_OF_SKIN & set(bad) else looked, by=by)


bad_infection = st.builds(
    _bad_infection,
    days,
    st.sampled_from(BAD_INFECTION),
    st.sampled_from([None, True]),
    st.sampled_from([None, "podiatrist", "staff"]),
)
any_base = any_findings | good_findings


def with_added(findings, bad):
    if isinstance(bad, PerfusionFinding):
        return replace(findings, perfusion=(*findings.perfusion, bad))
    return replace(findings, infection=(*findings.infection, bad))


def urgency_of(state):
    return {referral.id: URGENCIES.index(referral.urgency) for referral in state.refer}


@settings(max_examples=EXAMPLES)
@given(any_base, bad_blood | bad_infection)
def test_a_bad_finding_added_never_allows_more_and_never_lowers_an_urgency(findings, bad):
    before, after = standing(findings, TODAY), standing(with_added(findings, bad), TODAY)
    assert before.non_removable_allowed or not after.non_removable_allowed
    assert before.ischaemia.settled or not after.ischaemia.settled or (after.ischaemia.grade or 0) >= 2
    assert (after.infection.grade or 0) >= (before.infection.grade or 0)
    now = urgency_of(after)
    for name, urgency in urgency_of(before).items():
        assert now[name] <= urgency, name


@settings(max_examples=EXAMPLES)
@given(good_findings, bad_blood | bad_infection)
def test_a_bad_finding_added_never_adds_a_device_where_the_grades_were_known(findings, bad):
    before, after = standing(findings, TODAY), standing(with_added(findings, bad), TODAY)
    one, other = facts_of(before.ischaemia, before.infection), facts_of(after.ischaemia, after.infection)
    if None in (one.infection_grade, one.ischaemia_grade, one.osteomyelitis):
        return
    for rest in ({"region": "forefoot", "surface": "plantar", "device_available": False}, PLAIN_SITE):
        offered = {offer.id for offer in decide(replace(one, **rest)).classes}
        assert {offer.id for offer in decide(replace(other, **rest)).classes} <= offered


PLAIN_SITE = {
    "region": "forefoot",
    "surface": "plantar",
    "cause": "neuropathic",
    "high_falls_risk": False,
    "cannot_attend_weekly": False,
    "both_feet_ulcerated": False,
    "active_charcot": False,
    "device_available": True,
}


@settings(max_examples=EXAMPLES)
@given(any_base, st.integers(1, 900))
def test_a_bad_state_grown_older_changes_nothing_but_what_good_findings_allowed(findings, later):
    """Bad findings have no age: grades from 2 on, bone, urgent lines and what is forbidden stay as they
    are.
    """
    before = standing(findings, TODAY)
    after = standing(findings, TODAY + timedelta(days=later))
    assert before.non_removable_allowed or not after.non_removable_allowed
    if (before.ischaemia.grade or 0) >= 2:
        assert after.ischaemia == before.ischaemia
    if (before.infection.grade or 0) >= 2:
        assert (after.infection.grade, after.infection.on) == (before.infection.grade, before.infection.on)
    if before.infection.bone in ("possible", "probable", "proven"):
        assert (after.infection.bone, after.infection.bone_on) == (
            before.infection.bone,
            before.infection.bone_on,
        )
    assert after.ischaemia.urgent == before.ischaemia.urgent
    assert after.infection.urgent == before.infection.urgent
    assert after.override_barred == before.override_barred


@settings(max_examples=EXAMPLES)
@given(any_base)
def test_every_urgent_line_reaches_a_referral_at_its_urgency(findings):
    state = standing(findings, TODAY)
    asked = urgency_of(state)
    for line in (*state.ischaemia.urgent, *state.infection.urgent):
        assert line.refer in REFERRALS
        assert asked[line.refer] <= URGENCIES.index(line.urgency)


@settings(max_examples=EXAMPLES)
@given(any_base)
def test_what_stays_on_is_allowed_by_the_state_only_where_the_rule_table_allows_it(findings):
    state = standing(findings, TODAY)
    facts = replace(facts_of(state.ischaemia, state.infection), **PLAIN_SITE)
    offered = {offer.id for offer in decide(facts).classes}
    assert not state.non_removable_allowed or offered >= NON_REMOVABLE
    assert state.non_removable_allowed is not bool(state.withheld_because)
    if state.non_removable_allowed:
        assert state.ischaemia.settled
        assert state.infection.complete
        assert (state.infection.deep, state.infection.unwell, state.infection.bone) == (False, False, "no")
        assert not state.override_barred


@settings(max_examples=EXAMPLES)
@given(any_base, st.randoms(use_true_random=False))
def test_the_order_in_which_findings_are_told_changes_nothing(findings, random):
    shuffled = replace(
        findings,
        perfusion=tuple(random.sample(findings.perfusion, len(findings.perfusion))),
        infection=tuple(random.sample(findings.infection, len(findings.infection))),
    )
    one, other = standing(findings, TODAY), standing(shuffled, TODAY)
    assert (one.ischaemia.grade, one.ischaemia.settled, one.infection.grade, one.infection.bone) == (
        other.ischaemia.grade,
        other.ischaemia.settled,
        other.infection.grade,
        other.infection.bone,
    )
    assert one.non_removable_allowed is other.non_removable_allowed
    assert urgency_of(one) == urgency_of(other)


@settings(max_examples=EXAMPLES)
@given(any_base | good_findings, st.sampled_from(["deep", "bone", "unwell", "looked", "perfusion"]))
def test_a_danger_that_nobody_looked_for_allows_nothing_that_stays_on(findings, unknown):
    """Made unknown in every finding: never more than its bad value, which allows nothing either."""
    if unknown == "perfusion":
        blind = replace(findings, perfusion=())
    else:
        blind = replace(findings, infection=tuple(replace(f, **{unknown: None}) for f in findings.infection))
    measured = ("temperature_c", "pulse_per_min", "breaths_per_min", "white_cells_10e9_per_l")
    all_measured = any(all(getattr(f, name) is not None for name in measured) for f in blind.infection)
    assert not standing(blind, TODAY).non_removable_allowed or (unknown == "unwell" and all_measured)


@pytest.mark.parametrize("good", [True, False])
def test_the_laws_meet_states_that_allow_and_that_forbid_what_stays_on(good):
    """The base of the laws is not all one kind: a clean, well-perfused foot is allowed, a bad one not."""
    blood = PerfusionFinding(TODAY, toe_pressure_mmhg=65 if good else 22)
    look = InfectionFinding(TODAY, signs=(), looked=True, deep=False, bone="no", unwell=False)
    findings = with_added(with_added(LimbFindings(), blood), look)
    assert standing(findings, TODAY, StandingSettings()).non_removable_allowed is good
