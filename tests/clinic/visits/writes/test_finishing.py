"""A visit begun by one and finished by another: nothing is overwritten, each part keeps who found it."""

import uuid
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.capture.writes.measurement import LesionFindings
from clinic.models import AuditEvent, RedFlag, Visit
from clinic.record.errors import Conflict, Refused
from clinic.visits.writes.visits import PersonFindings, visit_finish, visit_log
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def wounds(person):
    limb = factories.limb(of=person)
    return factories.lesion(on=limb, place="mth_1"), factories.lesion(on=limb, place="mth_4")


def days(n):
    return timezone.localdate() + timedelta(days=n)


def at(lesion, **told):
    return LesionFindings(
        lesion=lesion, length_mm=Decimal(20), width_mm=Decimal(10), debridement="before", **told
    )


BEGUN = PersonFindings(
    visited_on=timezone.localdate(), next_on=None, fall=False, pain="none", unfinished=True
)


def begin(by, lesions, **told):
    return visit_log(
        by=by,
        person=lesions[0].limb.person,
        submission_key=uuid.uuid4(),
        found=replace(BEGUN, visited_on=days(0), **told),
        lesions=[at(lesions[0])],
    ).visit


def finish(by, visit, lesions, **told):
    found = PersonFindings(
        **{"visited_on": days(0), "next_on": days(7), "fall": False, "pain": "none", **told}
    )
    return visit_finish(
        by=by, visit=visit, found=found, lesions=[at(one) for one in lesions], expected_version=visit.version
    )


def test_each_part_keeps_who_found_it(site, staff, podiatrist, wounds):
    visit = begin(staff, wounds)
    lists = today_lists(site, days(0))
    assert [row.asks[0].message.id for row in lists.morning.begun] == ["finish_visit"]
    finish(podiatrist, visit, wounds[1:], other_foot="clear")
    visit.refresh_from_db()
    assert (visit.unfinished, visit.next_on, visit.fall, visit.other_foot) == (False, days(7), False, "clear")
    assert [row.created_by for row in visit.measurements.order_by("lesion__label")] == [staff, podiatrist]
    assert visit.created_by == staff
    assert visit.history.first().history_user == podiatrist
    assert not today_lists(site, days(0)).morning.begun
    assert [e.verb for e in AuditEvent.objects.order_by("sequence")] == ["began", "finished"]


def test_what_is_left_is_left_exactly(staff, podiatrist, wounds):
    visit = begin(staff, wounds)
    with pytest.raises(Refused, match="open ulcers have changed"):
        finish(podiatrist, visit, wounds)
    with pytest.raises(Refused, match="open ulcers have changed"):
        finish(podiatrist, visit, [])
    with pytest.raises(Refused) as refused:
        finish(podiatrist, visit, wounds[1:], next_on=None)
    assert refused.value.field == "next_on"
    assert Visit.objects.get().unfinished


def test_a_visit_is_finished_once_and_from_the_newest_page(staff, podiatrist, wounds):
    visit = begin(staff, wounds)
    stale = Visit.objects.get(pk=visit.pk)
    stale.version = 0
    with pytest.raises(Conflict):
        finish(podiatrist, stale, wounds[1:])
    finish(podiatrist, visit, wounds[1:])
    with pytest.raises(Refused, match="finished already"):
        finish(podiatrist, visit, [])


def test_a_flag_raised_by_the_first_is_not_raised_again_by_the_second(staff, podiatrist, wounds):
    visit = begin(staff, wounds, red_flags=("gangrene",))
    finish(podiatrist, visit, wounds[1:], red_flags=("gangrene", "abscess"))
    assert [flag.flags for flag in RedFlag.objects.order_by("pk")] == [["gangrene"], ["abscess"]]


def test_a_begun_visit_still_needs_its_lesions_to_be_the_person_s_own(staff, site, wounds):
    stranger = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    with pytest.raises(Refused, match="open ulcers have changed"):
        visit_log(
            by=staff,
            person=wounds[0].limb.person,
            submission_key=uuid.uuid4(),
            found=replace(BEGUN, visited_on=days(0)),
            lesions=[at(stranger)],
        )
