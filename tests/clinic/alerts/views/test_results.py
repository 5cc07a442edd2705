"""A test from its request to eyes, through the pages."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import Result
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def day(n):
    return (TODAY() + timedelta(days=n)).isoformat()


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def test_a_test_goes_from_request_over_today_to_seen(as_staff, staff, lesion):
    who = lesion.limb.person
    asked = {
        "kind": "crp",
        "about": f"lesion-{lesion.pk}",
        "requested_on": day(-2),
        "due_on": day(0),
        "owner": str(staff.pk),
    }
    as_staff.post(f"/people/{who.pk}/results/new/", asked)
    made = Result.objects.get()
    assert "Chase the result" in as_staff.get("/today/").content.decode()
    report = {"version": 1, "result_on": day(0), "value": "62", "reading": "abnormal"}
    assert as_staff.post(f"/results/{made.pk}/report/", report).status_code == 302
    page = as_staff.get("/today/").content.decode()
    assert "See the result" in page
    assert "62 mg/L" in page
    as_staff.post(f"/results/{made.pk}/seen/", {"version": 2, "follows": "culture and oral course"})
    assert f'href="/results/{made.pk}/"' not in as_staff.get("/today/").content.decode()
    assert "culture and oral course" in as_staff.get(f"/results/{made.pk}/").content.decode()


def test_the_page_offers_the_ulcer_it_was_opened_from_and_prefills_no_day_and_no_owner(as_staff, lesion):
    page = as_staff.get(f"/people/{lesion.limb.person_id}/results/new/?lesion={lesion.pk}").content.decode()
    assert f'value="lesion-{lesion.pk}" selected' in page
    assert 'name="due_on" value' not in page
    assert page.count(" selected") - page.count('value="" selected') == 1


@pytest.mark.parametrize("value", ["8.5", "700", "x"])
def test_a_value_that_cannot_be_comes_back_with_what_was_typed(as_staff, person, value):
    made = factories_care.result(of=person, kind="hba1c")
    data = {"version": 1, "result_on": day(0), "value": value, "words": "by hand", "reading": "abnormal"}
    answer = as_staff.post(f"/results/{made.pk}/report/", data)
    assert answer.status_code == 422
    assert "by hand" in answer.content.decode()
    assert f'value="{value}"' in answer.content.decode()


def test_an_older_page_overwrites_nothing(as_staff, person):
    made = factories_care.result(of=person)
    data = {"version": 1, "result_on": day(0), "value": "5", "reading": "normal"}
    assert as_staff.post(f"/results/{made.pk}/report/", data).status_code == 302
    late = as_staff.post(f"/results/{made.pk}/report/", {**data, "value": "99"})
    assert late.status_code == 422
    made.refresh_from_db()
    assert made.value == 5


def test_a_uninfected_ulcer_is_told_to_need_no_antibiotic_and_allergies_are_shown(as_staff, lesion):
    lesion.limb.person.allergies = "penicillin"
    lesion.limb.person.save()
    page = as_staff.get(f"/lesions/{lesion.pk}/antibiotics/new/").content.decode()
    assert "Allergies: penicillin" in page
    assert "An uninfected ulcer needs no antibiotic" in page
