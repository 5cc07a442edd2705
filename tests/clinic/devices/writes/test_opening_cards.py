"""Nobody leaves sealed without the card, past the clock, or over an unanswered flag."""

import json
from datetime import timedelta
from decimal import Decimal
from unittest.mock import patch

import pytest
from django.utils import timezone

from clinic.devices.prints.signs import CALL_SIGNS, HOW_TO_OPEN
from clinic.devices.writes.fittings import FittingFindings, steps_of
from clinic.devices.writes.opening_cards import card_hand_over, card_make
from clinic.devices.writes.wear import prescription_fit, prescription_open
from clinic.models import AuditEvent, Fitting, OpeningCard, Prescription
from clinic.record.errors import Refused
from clinic.rules.writes.house_rules import EMERGENCY, TELEPHONES
from tests import factories, feet

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.fixture
def cast(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    feet.clean_foot(lesion)
    return factories.prescription(of=lesion.limb, lesions=[lesion], device_class="total_contact_cast")


def card(by, device, n=7):
    return card_make(by=by, prescription=device, sealed_on=TODAY(), open_by=days(n))


def seal(by, device, n=7, review=7):
    return prescription_fit(
        by=by,
        prescription=device,
        fitted_on=TODAY(),
        sealed=True,
        open_by=days(n),
        expected_version=device.version,
        found=FittingFindings(
            steps=dict.fromkeys(steps_of(device), "done"),
            bandage_below_knee_cm=Decimal(4),
            watch_points="shin edge",
            review_on=days(review),
        ),
    )


def test_a_device_is_sealed_with_its_card_in_the_person_s_hands_only(cast, staff):
    with pytest.raises(Refused, match="Nobody leaves sealed without it"):
        seal(staff, cast)
    made = card(staff, cast)
    with pytest.raises(Refused, match="made, and not given to the patient yet"):
        seal(staff, cast)
    card_hand_over(by=staff, card=made)
    assert seal(staff, cast).open_by == days(7)
    assert [e.verb for e in AuditEvent.objects.order_by("sequence")] == ["printed", "handed over", "sealed"]


def test_the_card_says_the_day_that_is_recorded(cast, staff):
    card_hand_over(by=staff, card=card(staff, cast, 5))
    with pytest.raises(Refused, match="the card in the patient's hands says") as refused:
        seal(staff, cast, n=7)
    assert refused.value.field == "open_by"
    card_hand_over(by=staff, card=card(staff, cast, 6))
    assert seal(staff, cast, n=6, review=6).open_by == days(6)


def test_the_card_holds_copies_of_what_it_says(cast, staff, site):
    made = card(staff, cast)
    site.telephone_immediate_in_hours = "000 9999"
    site.save()
    made.refresh_from_db()
    assert [(row["urgency"], row["in_hours"], row["out_of_hours"]) for row in made.content["telephones"]] == [
        ("immediate", "000 1000", "000 2000"),
        ("one_working_day", "000 1001", "000 2001"),
        ("planned", "000 1002", "000 2002"),
    ]
    assert made.content["how_to_open"] == str(HOW_TO_OPEN)
    assert made.content["call"] == [str(sign) for sign in CALL_SIGNS]
    assert made.content["emergency"] == "112"
    assert made.content["side"] == "left"
    assert json.dumps(made.content)


@pytest.mark.parametrize("lacking", [name for name in TELEPHONES if name != EMERGENCY])
def test_a_clinic_without_a_number_for_every_urgency_and_hour_seals_nobody(cast, staff, site, lacking):
    setattr(site, lacking, "")
    site.save()
    cast.refresh_from_db()
    device = Prescription.objects.get(pk=cast.pk)
    with pytest.raises(Refused, match="no telephone number for every hour"):
        card(staff, device)


@pytest.mark.parametrize(
    ("rules", "latest"),
    [
        ({}, 7),
        ({"sealed_first_days": 5}, 5),
        ({"first_change_hours": 48}, 2),
        ({"first_change_hours": 72}, 3),
    ],
)
def test_the_first_day_to_open_is_the_site_s(cast, staff, site, rules, latest):
    type(site).objects.filter(pk=site.pk).update(**rules)
    device = Prescription.objects.get(pk=cast.pk)
    with pytest.raises(Refused, match=f"within {latest} days of sealing"):
        card(staff, device, latest + 1)
    assert card(staff, device, latest).open_by == days(latest)


def test_sealed_again_the_later_interval_holds(cast, staff, site):
    type(site).objects.filter(pk=site.pk).update(sealed_days=10, first_change_hours=48)
    device = Prescription.objects.get(pk=cast.pk)
    card_hand_over(by=staff, card=card(staff, device, 2))
    seal(staff, device, n=2, review=2)
    prescription_open(by=staff, prescription=device, opened_on=TODAY(), expected_version=device.version)
    with pytest.raises(Refused, match="within 10 days"):
        card(staff, device, 11)
    card_hand_over(by=staff, card=card(staff, device, 10))
    assert seal(staff, device, n=10, review=10).open_by == days(10)


def test_an_unanswered_red_flag_lets_nobody_be_sealed(cast, staff):
    card_hand_over(by=staff, card=card(staff, cast))
    factories.red_flag(of=cast.limb.person)
    with pytest.raises(Refused, match="red flag of this patient is not answered"):
        seal(staff, cast)
    assert not Fitting.objects.exists()


def test_the_next_review_is_not_after_the_day_to_open(cast, staff):
    card_hand_over(by=staff, card=card(staff, cast, 5))
    with pytest.raises(Refused) as refused:
        seal(staff, cast, n=5, review=6)
    assert refused.value.field == "review_on"


@pytest.mark.parametrize(("booked", "after"), [(21, 5), (None, 5), (4, 4)])
def test_sealing_brings_a_later_or_missing_next_date_forward(cast, staff, booked, after):
    visit = cast.limb.person.visits.get()
    visit.next_on = booked and days(booked)
    visit.save()
    card_hand_over(by=staff, card=card(staff, cast, 5))
    seal(staff, cast, n=5, review=5)
    visit.refresh_from_db()
    assert visit.next_on == days(after)


def test_a_card_is_given_once_and_belongs_to_a_device_that_stays_on(cast, staff, podiatrist):
    made = card_hand_over(by=staff, card=card(staff, cast))
    with pytest.raises(Refused, match="already"):
        card_hand_over(by=podiatrist, card=made)
    walker = factories.prescription(of=factories.limb(of=cast.limb.person, side="right"))
    with pytest.raises(Refused, match="Only a non-removable device"):
        card(staff, walker)
    with pytest.raises(Refused, match="before the prescription"):
        card_make(by=staff, prescription=cast, sealed_on=days(-1), open_by=days(3))


def test_nothing_is_kept_when_the_audit_row_cannot_be(cast, staff):
    with (
        patch("clinic.devices.writes.opening_cards.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        card(staff, cast)
    assert not OpeningCard.objects.exists()
