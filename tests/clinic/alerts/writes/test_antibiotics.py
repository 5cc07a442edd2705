"""A course has a planned end; it is prolonged or stopped with a reason, and its copies stay."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.writes.antibiotics import antibiotic_change, antibiotic_start, antibiotic_stop
from clinic.models import AntibioticCourse, AuditEvent
from clinic.record.errors import Conflict, Refused
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def course(**changed):
    return {
        "drug": "flucloxacillin",
        "dose": "1 g four times a day",
        "route": "oral",
        "started_on": days(0),
        "planned_end_on": days(7),
        "decided_by": "ward doctor",
        "why": "cellulitis",
        **changed,
    }


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"drug": " "}, "drug"),
        ({"dose": ""}, "dose"),
        ({"why": ""}, "why"),
        ({"decided_by": ""}, "decided_by"),
        ({"route": "nasal"}, "route"),
        ({"started_on": days(1)}, "started_on"),
        ({"planned_end_on": days(-1)}, "planned_end_on"),
    ],
)
def test_a_course_against_the_rules_names_its_field(staff, lesion, changed, field):
    with pytest.raises(Refused) as refused:
        antibiotic_start(by=staff, lesion=lesion, **course(**changed))
    assert refused.value.field == field
    assert not AntibioticCourse.objects.exists()


def test_it_is_prolonged_with_its_reason_and_stopped_once(staff, lesion):
    made = antibiotic_start(by=staff, lesion=lesion, **course())
    later = course(planned_end_on=days(14))
    antibiotic_change(by=staff, course=made, because="still red", expected_version=1, **later)
    assert made.history.first().history_change_reason == "still red"
    assert AuditEvent.objects.filter(verb="prolonged").count() == 1
    with pytest.raises(Conflict):
        antibiotic_stop(
            by=staff, course=made, stopped_on=days(0), stop_reason="completed", expected_version=1
        )
    made.refresh_from_db()
    antibiotic_stop(by=staff, course=made, stopped_on=days(0), stop_reason="completed", expected_version=2)
    with pytest.raises(Refused, match="stopped on"):
        antibiotic_change(by=staff, course=made, because="again", expected_version=3, **later)


@pytest.mark.parametrize("day", [-8, 1])
def test_it_stops_between_its_start_and_today(staff, lesion, day):
    made = factories_care.antibiotic(of=lesion)
    with pytest.raises(Refused, match="between the start") as refused:
        antibiotic_stop(
            by=staff, course=made, stopped_on=days(day), stop_reason="completed", expected_version=1
        )
    assert refused.value.field == "stopped_on"
