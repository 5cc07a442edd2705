"""Logging a call by the pages: from the person, from Today; its flags, its numbers, its answer."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.guidelines.red_flags import RED_FLAGS
from clinic.models import IncomingCall, RedFlag
from tests import factories


def text(page):
    return page.content.decode()


def address(person):
    return f"/people/{person.pk}/calls/new/"


TOLD = {"about": "rubbing", "words": "It rubs at the ankle.", "red_flags": ["none"]}


def test_the_person_and_today_lead_to_it(as_staff, person, site):
    assert address(person) in text(as_staff.get(f"/people/{person.pk}/"))
    assert f"/calls/new/?site={site.pk}" in text(as_staff.get("/today/"))
    page = as_staff.post(f"/calls/new/?site={site.pk}", {"person": person.pk})
    assert page["Location"] == address(person)


def test_from_today_only_people_of_the_clinic_can_be_chosen(as_staff, site, other_site):
    stranger = factories.person(at=other_site)
    page = as_staff.post(f"/calls/new/?site={site.pk}", {"person": stranger.pk})
    assert page.status_code == 422
    assert stranger.family_name not in text(page)


def test_it_asks_every_red_flag_and_carries_both_numbers_and_the_ambulance(as_staff, person, site):
    page = text(as_staff.get(address(person)))
    assert all(f'value="{flag.id}"' in page for flag in RED_FLAGS)
    for number in (
        site.telephone_emergency,
        site.telephone_immediate_in_hours,
        site.telephone_immediate_out_of_hours,
        site.telephone_one_working_day_in_hours,
    ):
        assert number in page


def test_a_sealed_device_is_named_with_what_to_do(as_staff, person):
    day = timezone.localdate()
    factories.prescription(
        of=factories.limb(of=person),
        device_class="total_contact_cast",
        sealed_on=day,
        open_by=day + timedelta(days=5),
    )
    assert "A non-removable device is on the left foot" in text(as_staff.get(address(person)))


def test_a_call_without_flags_comes_back_to_the_person_and_stands_on_today(as_staff, person):
    assert as_staff.post(address(person), TOLD)["Location"] == f"/people/{person.pk}/"
    today = text(as_staff.get("/today/"))
    assert "Answer the call" in today
    assert "It rubs at the ankle." in today


def test_a_flag_leads_to_its_page_first(as_staff, person):
    page = as_staff.post(address(person), {**TOLD, "red_flags": ["abscess"]})
    flag = RedFlag.objects.get()
    assert page["Location"] == f"/flags/{flag.pk}/answer/"
    assert "at a <a" in text(as_staff.get(page["Location"]))


@pytest.mark.parametrize("missing", ["about", "words", "red_flags"])
def test_what_is_missing_is_named_and_nothing_typed_is_lost(as_staff, person, missing):
    page = as_staff.post(
        address(person), {k: v for k, v in {**TOLD, "caller": "Oda"}.items() if k != missing}
    )
    assert page.status_code == 422
    assert 'value="Oda"' in text(page)
    assert not IncomingCall.objects.exists()


def test_its_answer_leaves_today(as_staff, person):
    call = factories.call(of=person)
    told = {"version": 1, "done": "comes_today", "done_note": "at two"}
    assert as_staff.post(f"/calls/{call.pk}/", told).status_code == 302
    assert "Answer the call" not in text(as_staff.get("/today/"))
    assert "Comes in today" in text(as_staff.get(f"/calls/{call.pk}/"))


def test_it_stands_in_the_persons_timeline(as_staff, person):
    factories.call(of=person)
    assert "Rubbing or pain in the device: unanswered" in text(as_staff.get(f"/people/{person.pk}/"))
