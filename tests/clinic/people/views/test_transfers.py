"""The pages of transfers: who sees what before and after the answer."""

from __future__ import annotations

import pytest
from django.urls import reverse

from clinic.models import Transfer, ViewEvent
from tests import factories
from tests.clinic.people.two_records import record
from tests.pages import PageClient

pytestmark = pytest.mark.django_db


@pytest.fixture
def there(other_site):
    client = PageClient()
    client.force_login(factories.user("podiatrist", at=other_site))
    return client


@pytest.fixture
def known(site):
    return record(site, family_name="Lantern-maker")


@pytest.fixture
def asked(as_staff, known, other_site):
    as_staff.post(
        reverse("transfer_new", args=[known.pk]), {"to_site": other_site.pk, "because": "Moved house."}
    )
    return Transfer.objects.get()


def test_asking_is_on_the_persons_page_and_keeps_what_was_typed(as_staff, known, other_site):
    page = reverse("transfer_new", args=[known.pk])
    assert page in as_staff.get(reverse("person", args=[known.pk])).content.decode()
    answer = as_staff.post(page, {"to_site": "", "because": "Moved house."})
    assert answer.status_code == 422
    assert "Moved house." in answer.content.decode()
    assert as_staff.post(page, {"to_site": other_site.pk, "because": "Moved house."}).status_code == 302
    assert as_staff.post(page, {"to_site": other_site.pk, "because": "Moved house."}).status_code == 422


def test_the_clinic_that_is_asked_sees_what_it_would_take_over_and_nothing_more(there, asked, known):
    page = reverse("transfer", args=[asked.pk])
    assert "Lantern-maker" in there.get(reverse("transfers")).content.decode()
    html = there.get(page).content.decode()
    assert "Lantern-maker" in html
    assert "1 unanswered" in html
    assert "Take this patient over" in html
    assert ViewEvent.objects.filter(person_id=known.pk, page="transfer").count() == 1
    assert there.get(reverse("person", args=[known.pk])).status_code == 404


def test_accepting_opens_the_record_there_and_shuts_it_here(there, as_staff, asked, known):
    page = reverse("person", args=[known.pk])
    answer = there.post(
        reverse("transfer_answer", args=[asked.pk]), {"act": "accept", "record_number": "B-17"}
    )
    assert answer["Location"] == page
    assert there.get(page).status_code == 200
    assert as_staff.get(page).status_code == 404
    told = as_staff.get(reverse("transfer", args=[asked.pk])).content.decode()
    assert asked.record_number in told
    assert "Lantern-maker" not in told
    assert "B-17" not in told
    assert "Lantern-maker" not in as_staff.get(reverse("transfers")).content.decode()


def test_an_answer_that_is_refused_keeps_what_was_typed(there, asked, other_site):
    factories.person(at=other_site, record_number="B-17")
    page = reverse("transfer_answer", args=[asked.pk])
    answer = there.post(page, {"act": "accept", "record_number": "B-17"})
    assert answer.status_code == 422
    assert "belongs to another record" in answer.content.decode()
    assert there.post(page, {"act": "decline", "note": ""}).status_code == 422
    assert there.post(page, {"act": "decline", "note": "No room."}).status_code == 302
    assert Transfer.objects.get().answer_note == "No room."


def test_the_first_clinic_withdraws_and_does_not_answer(as_staff, as_podiatrist, asked):
    html = as_podiatrist.get(reverse("transfer", args=[asked.pk])).content.decode()
    assert "Withdraw the transfer" in html
    assert "Take this patient over" not in html
    answer = as_podiatrist.post(
        reverse("transfer_answer", args=[asked.pk]), {"act": "accept", "record_number": "1"}
    )
    assert answer.status_code == 422
    as_staff.post(reverse("transfer_withdraw", args=[asked.pk]))
    assert Transfer.objects.get().state == "withdrawn"


def test_sending_back_asks_why(there, as_staff, asked, known):
    there.post(reverse("transfer_answer", args=[asked.pk]), {"act": "accept", "record_number": "B-17"})
    page = reverse("transfer_undo", args=[asked.pk])
    assert there.post(page, {"because": ""}).status_code == 422
    assert there.post(page, {"because": "Came back."}).status_code == 302
    assert as_staff.get(reverse("person", args=[known.pk])).status_code == 200
    assert there.get(reverse("person", args=[known.pk])).status_code == 404


def test_a_third_clinic_sees_no_transfer(asked):
    stranger = PageClient()
    stranger.force_login(factories.user("manager", at=factories.site()))
    assert stranger.get(reverse("transfer", args=[asked.pk])).status_code == 404
    assert "Lantern-maker" not in stranger.get(reverse("transfers")).content.decode()


def test_the_audit_of_the_first_clinic_lists_the_case_without_the_name(there, as_manager, asked, known):
    there.post(reverse("transfer_answer", args=[asked.pk]), {"act": "accept", "record_number": "B-17"})
    html = as_manager.get(reverse("audit_cases"), {"figure": "part.first"}).content.decode()
    assert "Handed to another clinic" in html
    assert "Lantern-maker" not in html
