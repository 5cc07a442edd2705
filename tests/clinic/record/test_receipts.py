"""A form that names its key is stored once: its answer, and every later answer to that key, says so."""

import json
import uuid
from datetime import timedelta

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic import middleware
from clinic.models import AuditEvent, FormReceipt, Referral, Visit
from clinic.record.reads.receipts import HEADER
from clinic.record.writes import audit
from clinic.record.writes.receipts import KEPT, Sending, sending


@pytest.fixture
def address(person):
    return reverse("referral_new", args=[person.pk])


def referral(**more):
    made_at = timezone.localtime(timezone.now() - timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    typed = {"to": "vascular", "urgency": "planned", "because": "No pulse felt.", "made_at": made_at}
    return {**typed, "form_key": str(uuid.uuid4()), **more}


def told(answer):
    return json.loads(answer[HEADER]) if HEADER in answer else None


def test_the_answer_names_key_version_and_place_of_what_was_stored(as_staff, address):
    sent = referral()
    answer = as_staff.post(address, sent)
    row = Referral.objects.get()
    stored = told(answer)
    assert (stored["key"], stored["version"]) == (sent["form_key"], row.version)
    assert stored["url"] == reverse("referral", args=[row.pk])
    assert answer[HEADER].isascii()
    asked = as_staff.get(reverse("draft_key"), {"sent": [sent["form_key"], str(uuid.uuid4()), "no key"]})
    assert asked.json()["stored"] == [stored]


@pytest.mark.parametrize("by", ["page", "htmx", "script"])
def test_the_same_form_again_is_answered_with_what_was_stored(as_staff, address, by):
    heads = {"htmx": {"HX-Request": "true"}, "script": {"Accept": "application/json"}}.get(by, {})
    sent = referral()
    first, again = (as_staff.post(address, sent, headers=heads) for _ in range(2))
    assert told(again) == told(first)
    place = again.get("Location") or again.get("HX-Redirect") or again.json()["next"]
    assert place == told(first)["url"]
    assert Referral.objects.count() == 1
    assert "not stored twice" in as_staff.get(place).content.decode()


@pytest.mark.parametrize("by", ["page", "script"])
def test_a_form_changed_after_it_was_stored_is_refused_with_the_way_to_what_was_stored(as_staff, address, by):
    heads = {"Accept": "application/json"} if by == "script" else {}
    sent = referral()
    as_staff.post(address, sent)
    answer = as_staff.post(address, {**sent, "because": "Rest pain."}, headers=heads)
    assert answer.status_code == 409
    assert told(answer)["url"] == reverse("referral", args=[Referral.objects.get().pk])
    assert Referral.objects.get().because == "No pulse felt."


def test_only_what_is_stored_is_named_so(as_staff, address, client, person):
    """A refusal, a sign-in page, a page above the role, a record that is not there: none says so."""
    refused = as_staff.post(address, referral(to="nobody"))
    signed_out = Client().post(address, referral())
    missing = as_staff.post(reverse("referral_new", args=[person.pk + 1]), referral())
    above = as_staff.post(reverse("prescription_new", args=[1]), referral())
    assert [a.status_code for a in (refused, signed_out, missing, above)] == [422, 302, 404, 403]
    assert not any(HEADER in answer for answer in (refused, signed_out, missing, above))
    assert not FormReceipt.objects.exists()


def test_a_key_is_its_senders_own(as_staff, as_podiatrist, address):
    sent = referral()
    as_staff.post(address, sent)
    assert as_podiatrist.get(reverse("draft_key"), {"sent": sent["form_key"]}).json()["stored"] == []
    as_podiatrist.post(address, sent)
    assert Referral.objects.count() == 2


def test_two_presses_that_pass_the_look_up_together_store_once(as_staff, address, monkeypatch):
    sent = referral()
    first = as_staff.post(address, sent)
    looked = []

    def late(user, key, found=middleware.receipt_of):
        looked.append(key)
        return None if len(looked) == 1 else found(user, key)

    monkeypatch.setattr(middleware, "receipt_of", late)
    second = as_staff.post(address, sent)
    assert len(looked) == 2
    assert told(second) == told(first)
    assert (Referral.objects.count(), AuditEvent.objects.count()) == (1, 1)


def test_a_second_press_refused_because_of_the_first_is_answered_as_stored(as_staff, person, monkeypatch):
    today = timezone.localdate()
    sent = {"visited_on": today, "red_flags": "none", "next_on": today + timedelta(7)}
    keys = {"submission_key": str(uuid.uuid4()), "form_key": str(uuid.uuid4())}
    address = reverse("visit_new", args=[person.pk])
    assert as_staff.post(address, {**sent, **keys}).status_code == 302
    looked = []

    def late(user, key, found=middleware.receipt_of):
        looked.append(key)
        return None if len(looked) == 1 else found(user, key)

    monkeypatch.setattr(middleware, "receipt_of", late)
    # As of two presses whose visit is refused by its day, not by its own key.
    second = as_staff.post(address, {**sent, **keys, "submission_key": str(uuid.uuid4())})
    assert second.status_code == 409
    assert told(second)["url"] == reverse("visit", args=[Visit.objects.get().pk])


@pytest.mark.django_db(transaction=True)
def test_what_is_taken_back_leaves_no_receipt_and_the_next_try_makes_one(site, staff, person):
    form = Sending(staff.pk, uuid.uuid4(), "")

    @transaction.atomic
    def taken_back():
        audit.record(by=staff, site=site, verb="weighed", target=person, person=person)
        raise RuntimeError

    sending(form)
    try:
        with pytest.raises(RuntimeError):
            taken_back()
        assert not FormReceipt.objects.exists()
        for _ in range(2):
            with transaction.atomic():
                audit.record(by=staff, site=site, verb="weighed", target=person, person=person)
    finally:
        sending(None)
    assert FormReceipt.objects.get().key == form.key


def test_receipts_go_once_no_device_holds_the_form_any_more(as_staff, address):
    as_staff.post(address, referral())
    FormReceipt.objects.update(at=timezone.now() - KEPT - timedelta(minutes=1))
    as_staff.post(address, sent := referral())
    assert str(FormReceipt.objects.get().key) == sent["form_key"]


def test_who_is_signed_in_is_told_to_anybody_and_the_key_of_drafts_to_nobody_else(as_staff, client, staff):
    mine = as_staff.get(reverse("draft_key")).json()
    assert mine["user"] == staff.pk
    assert mine["key"]
    nobody = client.get(reverse("draft_key")).json()
    assert nobody == {"user": None, "csrf": nobody["csrf"]}
    assert "csrftoken" in client.cookies


def test_a_second_factor_that_is_still_asked_gives_no_key(client, staff):
    staff.second_factor = True
    staff.save()
    client.force_login(staff)
    told = client.get(reverse("draft_key")).json()
    assert told.pop("csrf")
    assert told == {"user": None, "code": True}
