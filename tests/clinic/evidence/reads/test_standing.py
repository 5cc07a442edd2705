"""What stands about a foot, read from rows: blood by foot, infection by ulcer, and who has taken a danger."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.evidence.reads.standing import standing_of, standing_of_many
from clinic.models import DangerOwner
from tests import factories

TODAY = timezone.localdate
CLEAN = {
    "infection_looked": True,
    "infection_signs": [],
    "deep_infection": False,
    "probe_to_bone": False,
    "unwell": False,
}


def ago(days):
    return TODAY() - timedelta(days=days)


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


@pytest.fixture
def lesion(limb):
    return factories.lesion(on=limb)


def look(lesion, days=0, *, by=None, at=None, **found):
    when = ago(days)
    person = lesion.limb.person
    visit = at or person.visits.filter(visited_on=when).first() or factories.visit(of=person, on=when)
    fields = {"created_by": by} if by else {}
    return factories.measurement(at=visit, of=lesion, **{**CLEAN, **found, **fields})


def stands(limb, day=None):
    return standing_of(limb, day or TODAY())


def test_with_nothing_looked_at_nothing_that_stays_on_is_allowed(limb, lesion):
    found = stands(limb)
    assert set(found.lesions) == {lesion.pk}
    assert not found.worst.non_removable_allowed
    assert found.worst.ischaemia.grade is None
    assert found.worst.infection.grade is None


def test_a_toe_pressure_and_a_clean_look_of_today_allow_it(limb, lesion):
    factories.finding(of=limb, toe_pressure_mmhg=75)
    look(lesion)
    found = stands(limb)
    assert found.worst.non_removable_allowed
    assert found.worst.fits_today
    assert found.dangers == ()
    assert found.strip == ()


def test_a_clean_look_at_one_ulcer_never_lifts_another(limb, lesion):
    other = factories.lesion(on=limb, place="mth_5")
    factories.finding(of=limb, toe_pressure_mmhg=75)
    look(lesion, 3, infection_signs=["redness", "pus"], redness_mm=30)
    look(other)
    found = stands(limb)
    assert found.lesions[other.pk].infection.grade == 1
    assert found.lesions[lesion.pk].infection.grade == 3
    assert found.worst.infection.grade == 3
    assert not found.worst.non_removable_allowed
    assert f"Ulcer {lesion.label}" in found.strip[0]


def test_two_clean_looks_the_second_a_podiatrists_lift_grade_three(limb, lesion, podiatrist):
    look(lesion, 6, infection_signs=["redness", "pus"], redness_mm=30)
    look(lesion, 3)
    look(lesion)
    assert stands(limb).worst.infection.grade == 3
    lesion.measurements.filter(visit__visited_on=TODAY()).update(created_by=podiatrist)
    assert stands(limb).worst.infection.grade == 1


@pytest.mark.parametrize(
    ("found", "bone"),
    [
        ({}, "possible"),
        ({"depth": "bone"}, "probable"),
        ({"infection_signs": ["pus", "warmth"]}, "probable"),
        ({"probe_to_bone": False}, "no"),
        ({"probe_to_bone": False, "depth": "bone"}, "possible"),
        ({"probe_to_bone": None}, None),
    ],
)
def test_the_probe_alone_makes_bone_possible_with_more_probable(limb, lesion, found, bone):
    look(lesion, **{"probe_to_bone": True, **found})
    assert stands(limb).worst.infection.bone == bone


def test_a_gangrene_flag_counts_as_dead_tissue_until_it_is_answered_as_no_flag(limb, lesion):
    visit = factories.visit(of=limb.person)
    look(lesion, at=visit)
    flag = factories.red_flag(of=limb.person, visit=visit, flags=["gangrene"])
    assert "gangrene" in {one.id for one in stands(limb).dangers}
    flag.answer, flag.answered_at = "not_a_flag", timezone.now()
    flag.save()
    assert "gangrene" not in {one.id for one in stands(limb).dangers}


def test_a_flag_speaks_of_the_foot_that_was_looked_at(limb, lesion):
    other = factories.limb(of=limb.person, side="right")
    visit = factories.visit(of=limb.person)
    look(lesion, at=visit)
    factories.red_flag(of=limb.person, visit=visit, flags=["gangrene"])
    assert "gangrene" not in {one.id for one in stands(other).dangers}


def test_what_the_record_raised_by_itself_is_no_new_finding(limb, lesion):
    factories.red_flag(of=limb.person, flags=["gangrene"], from_record={"gangrene": 1})
    assert "gangrene" not in {one.id for one in stands(limb).dangers}


def test_after_a_bypass_the_values_from_before_settle_nothing(limb, lesion):
    factories.finding(of=limb, found_on=ago(20), toe_pressure_mmhg=75)
    look(lesion)
    factories.event(of=lesion, kind="revascularisation", on=ago(10))
    state = stands(limb).worst
    assert not state.ischaemia.settled
    assert "Revascularised" in state.ischaemia.doubts[0]
    factories.finding(of=limb, toe_pressure_mmhg=65)
    assert stands(limb).worst.ischaemia.settled


def test_a_toe_counts_as_unmeasurable_only_when_a_podiatrist_says_why(limb, lesion, staff, podiatrist):
    factories.finding(of=limb, found_on=ago(30), toe_pressure_mmhg=35)
    row = factories.finding(
        of=limb, tcpo2_mmhg=50, toe_unmeasurable_because="toe amputated", created_by=staff
    )
    assert stands(limb).worst.ischaemia.grade == 2
    row.created_by = podiatrist
    row.save()
    assert stands(limb).worst.ischaemia.grade == 1


def test_suspected_thrombosis_bars_what_stays_on_until_it_is_answered_no(limb, lesion):
    factories.finding(of=limb, found_on=ago(2), toe_pressure_mmhg=75, dvt_suspected=True)
    look(lesion)
    assert "suspected thrombosis" in stands(limb).override_barred
    factories.finding(of=limb, dvt_suspected=False)
    assert stands(limb).override_barred == ()


def test_a_danger_that_a_team_has_taken_is_shown_and_not_raised_until_its_date(limb, lesion):
    factories.finding(of=limb, found_on=ago(9), toe_pressure_mmhg=22)
    danger = stands(limb).dangers[0]
    assert danger in stands(limb).to_raise
    DangerOwner.objects.create(
        limb=limb,
        danger=danger.id,
        level=danger.level,
        team="Vascular team",
        taken_on=ago(5),
        next_on=TODAY(),
        created_by=factories.author(),
    )
    found = stands(limb)
    assert "Vascular team" in found.strip[0]
    assert [(one.danger, one.team) for one in found.owned] == [(danger.id, "Vascular team")]
    assert danger.id not in {one.id for one in found.to_raise}
    assert danger.id in {one.id for one in stands(limb, TODAY() + timedelta(days=1)).to_raise}


def test_many_feet_take_as_many_queries_as_one(limb, lesion):
    factories.finding(of=limb, toe_pressure_mmhg=75)
    look(lesion)
    factories.red_flag(of=limb.person, flags=["gangrene"])
    with CaptureQueriesContext(
        connection,
    ) as one:
        standing_of_many([limb], TODAY())
    feet = [limb]
    for _ in range(4):
        other = factories.limb(of=factories.person(at=limb.person.site))
        factories.finding(of=other, toe_pressure_mmhg=22)
        for place in ("mth_1", "mth_4"):
            look(factories.lesion(on=other, place=place))
        factories.red_flag(of=other.person, flags=["gangrene"])
        feet.append(other)
    with CaptureQueriesContext(connection) as many:
        found = standing_of_many(feet, TODAY())
    assert len(found) == 5
    assert len(many) <= len(one)
