"""Arrived, in room, left: light marks of one day on Today, each taken back by another press."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.models import AuditEvent, DayMark, MarkKind, Visit
from clinic.week.reads.by_person import people_of_today
from clinic.week.reads.today import today_lists
from clinic.week.writes import mark_set
from tests import factories
from tests.clinic.week.views.test_today import due

pytestmark = pytest.mark.django_db


def row_of(site, person):
    """(group, {kind: time or None}) of somebody on Today, None without a row."""
    for group, people in people_of_today(today_lists(site, timezone.localdate())).items():
        for one in people:
            if one.person.pk == person.pk:
                return group, {mark.kind: mark.mark and mark.mark.marked_at for mark in one.marks}
    return None


def press(client, person, **data):
    return client.post(reverse("day_mark", args=[person.pk]), data)


@pytest.mark.parametrize("htmx", [False, True])
def test_each_mark_is_set_with_its_time_and_taken_back(as_staff, site, htmx):
    """Each alone: set, pressed again, taken back, taken back again; nothing else is written."""
    who = due(site)
    headers = {"HX-Request": "true"} if htmx else {}
    visits = Visit.objects.count()
    for kind in MarkKind.values:
        for _ in range(2):
            as_staff.post(reverse("day_mark", args=[who.pk]), {"mark": kind}, headers=headers)
        group, marks = row_of(site, who)
        assert group == "due"
        assert [name for name, at in marks.items() if at] == [kind]
        assert DayMark.objects.filter(kind=kind).count() == 1
        answer = as_staff.post(reverse("day_mark", args=[who.pk]), {"mark": kind}, headers=headers)
        page = (answer if htmx else as_staff.get(reverse("today"))).content.decode()
        assert f"{MarkKind(kind).label} {timezone.localtime(marks[kind]):%H:%M}" in page
        assert "marked by" in page
        for _ in range(2):
            as_staff.post(reverse("day_mark", args=[who.pk]), {"take_back": kind}, headers=headers)
        assert not any(row_of(site, who)[1].values())
    assert Visit.objects.count() == visits
    verbs = list(AuditEvent.objects.filter(target_kind="daymark").values_list("verb", flat=True))
    assert sorted(verbs) == ["marked"] * 3 + ["took back"] * 3


def test_a_mark_of_yesterday_is_not_shown_today(as_staff, site, staff):
    who = due(site)
    mark = mark_set(by=staff, person=who, kind="arrived")
    assert row_of(site, who)[1]["arrived"]
    DayMark.objects.filter(pk=mark.pk).update(day=timezone.localdate() - timedelta(days=1))
    assert not any(row_of(site, who)[1].values())


def test_who_is_expected_can_be_marked_and_nobody_else(site):
    today = timezone.localdate()
    for days, group, marked in ((0, "due", True), (-3, "overdue", True), (3, "coming", False)):
        who = due(site)
        Visit.objects.filter(person=who).update(next_on=today + timedelta(days=days))
        assert row_of(site, who) == (group, dict.fromkeys(MarkKind.values) if marked else {})


def test_who_came_stays_on_today_until_marked_as_left(site, staff):
    """A visit implies no mark: who is marked as arrived is still in the clinic after it is recorded."""
    today = timezone.localdate()
    who, other = due(site), due(site)
    mark_set(by=staff, person=who, kind="arrived")
    for one in (who, other):
        factories.visit(of=one, on=today, next_on=today + timedelta(days=30))
    assert row_of(site, other) is None
    assert row_of(site, who)[0] == "here"
    mark_set(by=staff, person=who, kind="left")
    assert row_of(site, who) is None


def test_a_mark_that_is_none_is_refused_in_words(as_staff, site):
    who = due(site)
    answer = as_staff.post(reverse("day_mark", args=[who.pk]), {"mark": "asleep"}, follow=True)
    assert "none of arrived, in room, left" in answer.content.decode()
    answer = as_staff.post(
        reverse("day_mark", args=[who.pk]), {"take_back": ""}, headers={"HX-Request": "true"}
    )
    assert answer.status_code == 422
    assert not DayMark.objects.exists()


def test_a_restricted_record_takes_no_mark(as_staff, site):
    who = due(site)
    who.restricted_on, who.restricted_because = timezone.localdate(), "asked for it"
    who.save()
    press(as_staff, who, mark="arrived")
    assert not DayMark.objects.exists()
    assert row_of(site, who)[1] == {}


def test_marks_add_no_query_a_row(as_staff, site, staff):
    def count():
        with CaptureQueriesContext(connection) as caught:
            as_staff.get(reverse("today"))
        return len(caught)

    def marked():
        for kind in MarkKind.values[:2]:
            mark_set(by=staff, person=due(site), kind=kind)

    marked()
    count()
    few = count()
    for _ in range(4):
        marked()
    assert count() == few
