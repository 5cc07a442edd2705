"""An answer to a transfer is told to who asked, and an old number leads to the new clinic and no further."""

import pytest
from django.urls import reverse

from clinic.people.writes.transfers import (
    transfer_accept,
    transfer_ask,
    transfer_decline,
    transfer_seen,
    transfer_undo,
)
from clinic.record.errors import Refused
from tests import factories


@pytest.fixture
def colleague(other_site):
    return factories.user("podiatrist", at=other_site)


def ask(person, podiatrist, to):
    return transfer_ask(by=podiatrist, person=person, to_site=to, because="moves house")


def accept(transfer, by):
    return transfer_accept(by=by, transfer=transfer, record_number="X-1")


def decline(transfer, by):
    return transfer_decline(by=by, transfer=transfer, note="no room before June")


def send_back(transfer, by):
    return transfer_undo(by=by, transfer=accept(transfer, by), because="stays after all")


@pytest.mark.parametrize("answer", [accept, decline, send_back])
def test_each_answer_stands_on_the_asking_clinics_today_until_seen(
    person, podiatrist, other_site, colleague, as_podiatrist, as_staff, answer
):
    transfer = ask(person, podiatrist, other_site)
    assert b"Answers to transfers" not in as_podiatrist.get(reverse("today")).content
    answer(transfer, colleague)
    shown = as_podiatrist.get(reverse("today")).content.decode()
    assert "Answers to transfers" in shown
    assert transfer.record_number in shown
    with pytest.raises(Refused, match="which asked"):
        transfer_seen(by=colleague, transfer=transfer)
    assert as_staff.post(reverse("transfer_seen", args=[transfer.pk])).status_code == 302
    assert b"Answers to transfers" not in as_podiatrist.get(reverse("today")).content


def test_the_old_number_leads_to_the_clinic_and_to_nothing_of_the_person(
    person, podiatrist, other_site, colleague, as_podiatrist
):
    number = person.record_number
    accept(ask(person, podiatrist, other_site), colleague)

    def search(q):
        return as_podiatrist.post(reverse("people"), {"q": q, "show": "all"}, follow=True).content.decode()

    found = search(number)
    assert other_site.name in found
    assert person.family_name not in found
    for other in (number[:-1], person.family_name, "X-1", ""):
        assert other_site.name not in search(other)
