"""A standing danger past an urgent line alarms once: when it is new, worse, or past its owner's date."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.writes.standing import dangers_raise
from clinic.evidence.reads.raising import EVENT_FLAG, FLAG_OF, URGENT_FROM
from clinic.guidelines.red_flags import RED_FLAGS
from clinic.models import DangerOwner, RedFlag
from tests import factories, feet

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def ago(days):
    return TODAY() - timedelta(days=days)


def look(lesion, days=0, **found):
    visit = factories.visit(of=lesion.limb.person, on=ago(days))
    return factories.measurement(at=visit, of=lesion, **{**feet.CLEAN_LOOK, **found})


def answered(flag):
    flag.answer, flag.answered_at = "called", timezone.now()
    flag.save()


CASES = {
    "infection": {"infection_signs": ["redness", "pus"], "redness_mm": 30},
    "abscess": {"deep_infection": True},
    "bone": {"probe_to_bone": True, "depth": "bone"},
    "unwell": {"unwell": True},
}
FOOT = {
    "ischaemia": {"toe_pressure_mmhg": 22},
    "gangrene": {"dead_tissue": True},
    "cold": {"newly_cold": True},
    "pain": {"rest_pain": True},
    "thrombosis": {"dvt_suspected": True},
    "moderate past a line": {"ankle_pressure_mmhg": 45},
}


@pytest.mark.parametrize("case", [*CASES, *FOOT])
def test_every_urgent_line_raises_a_flag_and_answered_it_is_not_raised_again(staff, lesion, case):
    if case in CASES:
        look(lesion, **CASES[case])
    else:
        factories.finding(of=lesion.limb, **FOOT[case])
    flag = dangers_raise(by=staff, person=lesion.limb.person)
    assert flag.flags
    assert flag.from_record
    assert dangers_raise(by=staff, person=lesion.limb.person) is None
    answered(flag)
    assert dangers_raise(by=staff, person=lesion.limb.person) is None


@pytest.mark.parametrize(
    "found", [{"toe_pressure_mmhg": 75}, {"toe_pressure_mmhg": 35}, {"ankle_index": "0.85"}, {}]
)
def test_what_is_past_no_urgent_line_raises_nothing(staff, lesion, found):
    look(lesion)
    if found:
        factories.finding(of=lesion.limb, **found)
    assert dangers_raise(by=staff, person=lesion.limb.person) is None


def test_worse_than_when_it_was_answered_it_alarms_again(staff, lesion):
    look(lesion, 2, **CASES["infection"])
    answered(dangers_raise(by=staff, person=lesion.limb.person))
    visit = factories.visit(of=lesion.limb.person, temperature_c=39, pulse_per_min=110)
    factories.measurement(at=visit, of=lesion, **{**feet.CLEAN_LOOK, **CASES["infection"]})
    assert dangers_raise(by=staff, person=lesion.limb.person).from_record["infection"] == 4


def test_lifted_and_back_it_is_new(staff, lesion):
    factories.finding(of=lesion.limb, found_on=ago(60), toe_pressure_mmhg=25)
    flag = dangers_raise(by=staff, person=lesion.limb.person)
    flag.raised_at = timezone.now() - timedelta(days=60)
    flag.save()
    answered(flag)
    factories.event(of=lesion, kind="revascularisation", on=ago(40))
    factories.finding(of=lesion.limb, found_on=ago(30), toe_pressure_mmhg=75)
    assert dangers_raise(by=staff, person=lesion.limb.person) is None
    factories.finding(of=lesion.limb, toe_pressure_mmhg=24)
    assert dangers_raise(by=staff, person=lesion.limb.person) is not None


@pytest.mark.parametrize("event", sorted(EVENT_FLAG))
def test_a_foot_newly_cold_or_in_pain_is_new_whatever_stood_before(staff, lesion, event):
    factories.finding(of=lesion.limb, found_on=ago(20), toe_pressure_mmhg=22)
    answered(dangers_raise(by=staff, person=lesion.limb.person))
    factories.finding(of=lesion.limb, **{event: True})
    flag = dangers_raise(by=staff, person=lesion.limb.person)
    assert flag.flags == [EVENT_FLAG[event]]
    answered(flag)
    assert dangers_raise(by=staff, person=lesion.limb.person) is None


def test_past_its_owner_s_date_it_alarms_again_and_not_before(staff, lesion):
    factories.finding(of=lesion.limb, found_on=ago(20), toe_pressure_mmhg=22)
    flag = dangers_raise(by=staff, person=lesion.limb.person)
    answered(flag)
    RedFlag.objects.update(raised_at=timezone.now() - timedelta(days=20))
    owner = DangerOwner.objects.create(
        limb=lesion.limb,
        danger="ischaemia",
        level=3,
        team="Vascular team",
        taken_on=ago(20),
        next_on=TODAY(),
        created_by=factories.author(),
    )
    assert dangers_raise(by=staff, person=lesion.limb.person) is None
    owner.next_on = ago(1)
    owner.save()
    assert dangers_raise(by=staff, person=lesion.limb.person) is not None
    assert dangers_raise(by=staff, person=lesion.limb.person) is None


def test_who_ticked_the_flag_knows_of_the_danger(staff, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    raised = dangers_raise(by=staff, person=lesion.limb.person, ticked={"severe_ischaemia"})
    assert raised is None


def test_every_danger_is_raised_as_a_question_of_the_list():
    assert set(FLAG_OF.values()) <= {flag.id for flag in RED_FLAGS}
    assert FLAG_OF.keys() == URGENT_FROM.keys()
