"""What happened to a person, newest first."""

from datetime import timedelta

from django.utils import timezone

from clinic.case.reads.timeline import SHOWN_FIRST, timeline
from clinic.models import Event
from tests import factories


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


def test_all_kinds_stand_in_one_list_newest_first(person):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    visit = factories.visit(of=person, on=days_ago(3))
    factories.measurement(at=visit, of=lesion, cm2=1.5)
    Event.objects.create(limb=limb, kind="fall", happened_on=days_ago(9), created_by=factories.author())
    factories.prescription(of=limb, prescribed_on=days_ago(20), stopped_on=days_ago(1), stop_reason="broken")
    factories.red_flag(of=person)
    found = timeline(person).happenings
    assert [(one.kind, one.day) for one in found] == [
        ("Red flag", days_ago(0)),
        ("Device stopped", days_ago(1)),
        ("Visit", days_ago(3)),
        ("Event", days_ago(9)),
        ("Device prescribed", days_ago(20)),
    ]
    assert found[2].words == "A 1.50 cm²"


def test_a_visit_entered_in_error_stays_readable_and_marked(person):
    factories.visit(of=person, state="in_error", error_reason="other patient")
    assert timeline(person).happenings[0].in_error


def test_the_list_is_cut_and_says_so(person):
    for n in range(SHOWN_FIRST):
        factories.visit(of=person, on=days_ago(n))
    assert not timeline(person).cut
    factories.visit(of=person, on=days_ago(40))
    assert timeline(person).cut
    assert len(timeline(person, everything=True).happenings) == SHOWN_FIRST + 1
