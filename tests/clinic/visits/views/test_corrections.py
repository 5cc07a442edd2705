"""Correcting a visit, taking it out, and visits that did not take place."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import Contact, Visit
from tests import factories
from tests.clinic.form_fields import Fields

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def iso(n):
    return days(n).isoformat()


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


@pytest.fixture
def url(person):
    return reverse("visit_new", args=[person.pk])


def post(*lesions, **told):
    """A filled form; a field set to None is not sent."""
    sent = {
        "submission_key": str(uuid.uuid4()),
        "visited_on": iso(0),
        "red_flags": ["none"],
        "next_in": "7",
        **told,
    }
    for one in lesions:
        head = f"lesion-{one.pk}-"
        filled = {"length_mm": "20", "width_mm": "10", "debridement": "before"}
        for name, value in filled.items():
            sent.setdefault(head + name, value)
    return {name: value for name, value in sent.items() if value is not None}


def stored(client, url, lesion, **told):
    client.post(url, post(lesion, **told))
    return Visit.objects.latest("pk")


def corrected(client, visit, **changes):
    """The correction page as it comes, with some fields changed."""
    url = reverse("visit_correct", args=[visit.pk])
    fields = Fields(client.get(url).content.decode()).values
    fields.pop("csrfmiddlewaretoken")
    return client.post(url, {**fields, "reason": "typed wrongly", **changes})


def test_a_correction_shows_what_stands_and_changes_only_what_is_typed(as_staff, url, lesion):
    head = f"lesion-{lesion.pk}-"
    told = {
        "fall": "no",
        "pain": "new",
        "note": "first",
        f"{head}depth": "bone",
        f"{head}infection": ["none"],
        f"{head}probe_to_bone": "no",
    }
    visit = stored(as_staff, url, lesion, **told)
    answer = corrected(as_staff, visit, note="second")
    assert answer.status_code == 302
    visit.refresh_from_db()
    row = visit.measurements.get()
    assert (visit.note, visit.fall, visit.pain, visit.next_on) == ("second", False, "new", days(7))
    assert (row.version, row.depth, row.infection_looked, row.probe_to_bone) == (1, "bone", True, False)
    page = as_staff.get(reverse("visit", args=[visit.pk])).content.decode()
    assert "typed wrongly" in page


def test_an_outline_survives_a_correction(as_staff, url, lesion):
    head = f"lesion-{lesion.pk}-"
    visit = stored(
        as_staff,
        url,
        lesion,
        **{f"{head}outline": "0,0\n10.25,0\n10,10", f"{head}length_mm": "", f"{head}width_mm": ""},
    )
    assert corrected(as_staff, visit, note="second").status_code == 302
    assert visit.measurements.get().version == 1


def test_a_stale_correction_is_refused_and_keeps_the_text(as_staff, url, lesion):
    visit = stored(as_staff, url, lesion)
    answer = corrected(as_staff, visit, version="7", note="mine")
    assert answer.status_code == 422
    assert "Someone else changed this record" in answer.content.decode()
    assert "mine" in answer.content.decode()


def test_a_visit_in_error_is_marked_on_its_page_and_out_of_the_last_values(as_staff, url, lesion):
    visit = stored(as_staff, url, lesion)
    mark = reverse("visit_in_error", args=[visit.pk])
    assert as_staff.post(mark, {"version": 1, "reason": ""}).status_code == 422
    assert as_staff.post(mark, {"version": 1, "reason": "wrong patient"}).status_code == 302
    page = as_staff.get(reverse("visit", args=[visit.pk])).content.decode()
    assert "Entered in error." in page
    assert "wrong patient" in page
    assert "No area yet." in as_staff.get(url).content.decode()


def test_a_missed_visit_opens_the_contact_sheet(as_staff, person, lesion):
    url = reverse("visit_missed", args=[person.pk])
    key = Fields(as_staff.get(url).content.decode()).values["submission_key"][0]
    sent = {"submission_key": key, "visited_on": iso(0), "attendance": "did_not_come", "next_in": "7"}
    answer = as_staff.post(url, sent)
    assert answer["Location"] == reverse("contact_new", args=[person.pk])
    assert Visit.objects.get().next_on == days(7)
    assert as_staff.post(url, sent).status_code == 302
    assert Visit.objects.count() == 1
    sent["attendance"] = ""
    assert as_staff.post(url, sent).status_code == 422


def test_a_missed_visit_can_be_corrected(as_staff, person, lesion):
    visit = factories.visit(of=person, attendance="did_not_come", why_not="")
    answer = corrected(as_staff, visit, attendance="in_hospital", why_not="admitted")
    assert answer.status_code == 302
    visit.refresh_from_db()
    assert (visit.attendance, visit.why_not, visit.version) == ("in_hospital", "admitted", 2)


def test_an_attempt_is_recorded_and_listed(as_staff, person, lesion):
    url = reverse("contact_new", args=[person.pk])
    answer = as_staff.post(url, {"how": "telephone", "result": "", "note": "rang out"})
    assert answer.status_code == 422
    assert "rang out" in answer.content.decode()
    assert as_staff.post(url, {"how": "telephone", "result": "not_reached"}).status_code == 302
    assert Contact.objects.count() == 1
    assert "1 attempt failed since the last entry" in as_staff.get(url).content.decode()
