"""An opening or a sealing taken back leaves the device as it was; nothing of it is deleted."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.devices.writes import opening_cards, wear, wear_back
from clinic.models import SEALED, DecisionLine, Prescription
from clinic.record.errors import Refused
from tests.clinic.devices.writes.signing import TODAY, fit, sign

STATE = ("fitted_on", "sealed_on", "open_by", "opened_on", "opened_visit_id", "stopped_on")


def state(device):
    return tuple(Prescription.objects.values_list(*STATE).get(pk=device.pk))


def opened(by, device):
    device.refresh_from_db()
    return wear.prescription_open(
        by=by, prescription=device, opened_on=TODAY(), expected_version=device.version
    )


def back(by, device, what=wear_back.opening_take_back, **more):
    device.refresh_from_db()
    return what(by=by, prescription=device, reason="wrong patient", expected_version=device.version, **more)


def test_an_opening_taken_back_puts_the_clock_back(limb, podiatrist):
    device = fit(podiatrist, sign(podiatrist, limb))
    before = state(device)
    opened(podiatrist, device)
    back(podiatrist, device)
    assert state(device) == before
    assert Prescription.objects.filter(SEALED, pk=device.pk).exists()
    line = DecisionLine.objects.get(kind="undone")
    assert "took back that" in line.sentence
    assert "wrong patient" in line.sentence
    assert DecisionLine.objects.filter(kind="opened").count() == 1
    with pytest.raises(Refused, match="not opened"):
        back(podiatrist, device)


@pytest.mark.parametrize("rounds", [1, 2])
def test_a_sealing_taken_back_leaves_what_stood_before_it(rounds, limb, podiatrist):
    limb.person.site.sealed_days = 14
    limb.person.site.save()
    device = sign(podiatrist, limb)
    for number in range(rounds):
        if number:
            opened(podiatrist, device)
            device.refresh_from_db()
        before = state(device)
        fit(podiatrist, device)
    back(podiatrist, device, wear_back.sealing_take_back)
    assert state(device) == before
    assert device.fittings.standing().count() == rounds - 1
    assert device.fittings.count() == rounds


def test_a_sealing_under_an_opening_is_not_taken_back(limb, podiatrist):
    device = fit(podiatrist, sign(podiatrist, limb))
    opened(podiatrist, device)
    with pytest.raises(Refused, match="take the opening back first"):
        back(podiatrist, device, wear_back.sealing_take_back)


def test_the_day_of_an_opening_is_corrected_within_its_sealing(limb, podiatrist):
    device = fit(podiatrist, sign(podiatrist, limb))
    opened(podiatrist, device)
    with pytest.raises(Refused, match="before it was sealed"):
        back(podiatrist, device, wear_back.opening_correct, opened_on=TODAY() - timedelta(days=1))
    with pytest.raises(Refused, match="the limit is"):
        back(podiatrist, device, wear_back.opening_correct, opened_on=TODAY() + timedelta(days=1))
    back(podiatrist, device, wear_back.opening_correct, opened_on=TODAY())
    assert "corrected the day" in DecisionLine.objects.get(kind="undone").sentence


def test_opening_a_stopped_device_stays_where_stopping_opened_it(limb, podiatrist):
    device = fit(podiatrist, sign(podiatrist, limb))
    wear.prescription_stop(
        by=podiatrist,
        prescription=device,
        stopped_on=timezone.localdate(),
        stop_reason="broken",
        expected_version=device.version,
    )
    with pytest.raises(Refused, match="Stopping this device opened it"):
        back(podiatrist, device)


def test_the_pages_take_an_opening_back(limb, podiatrist, as_podiatrist):
    device = fit(podiatrist, sign(podiatrist, limb))
    opened(podiatrist, device)
    page = as_podiatrist.get(reverse("prescription", args=[device.pk])).content.decode()
    assert reverse("opening_correct", args=[device.pk]) in page
    url = reverse("opening_take_back", args=[device.pk])
    device.refresh_from_db()
    assert as_podiatrist.post(url, {"version": device.version, "reason": ""}).status_code == 422
    assert as_podiatrist.post(url, {"version": device.version, "reason": "slip"}).status_code == 302
    assert Prescription.objects.filter(SEALED, pk=device.pk).exists()
    assert as_podiatrist.get(reverse("sealing_take_back", args=[device.pk])).status_code == 200


def test_a_card_made_and_not_given_is_to_be_given_not_made(limb, podiatrist):
    device, until = sign(podiatrist, limb), TODAY() + timedelta(days=7)
    with pytest.raises(Refused, match="make it first"):
        opening_cards.handed_card_check(device, TODAY(), until)
    card = opening_cards.card_make(by=podiatrist, prescription=device, sealed_on=TODAY(), open_by=until)
    with pytest.raises(Refused, match="print it, give it and record that first") as refused:
        opening_cards.handed_card_check(device, TODAY(), until)
    assert "make it" not in refused.value.message
    opening_cards.card_hand_over(by=podiatrist, card=card)
    opening_cards.handed_card_check(device, TODAY(), until)
