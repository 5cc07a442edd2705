"""The path from a chosen device to a sealed one goes over the card."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import OpeningCard
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast(person):
    return factories.prescription(of=factories.limb(of=person), device_class="total_contact_cast")


def test_the_card_is_made_printed_and_given_on_two_pages(as_staff, cast, staff):
    assert "No opening card yet" in as_staff.get(f"/prescriptions/{cast.pk}/fit/").content.decode()
    today = timezone.localdate()
    asked = {"sealed_on": today.isoformat(), "open_by": (today + timedelta(days=6)).isoformat()}
    made = as_staff.post(f"/prescriptions/{cast.pk}/card/", asked)
    card = OpeningCard.objects.get()
    assert made["Location"] == f"/cards/{card.pk}/"
    page = as_staff.get(made["Location"]).content.decode()
    for words in (
        "Must be opened by",
        "Left",
        "000 1000",
        "000 2000",
        "Call us at once if",
        "Ambulance first",
        "How to open it",
    ):
        assert words in page
    assert as_staff.post(f"/cards/{card.pk}/")["Location"] == f"/prescriptions/{cast.pk}/fit/"
    card.refresh_from_db()
    assert card.handed_by == staff
    page = as_staff.get(f"/prescriptions/{cast.pk}/fit/").content.decode()
    assert "is with the patient" in page
    assert f'value="{asked["open_by"]}"' in page


def test_a_day_past_the_rule_is_refused_and_stays_typed(as_staff, cast):
    today = timezone.localdate()
    late = (today + timedelta(days=9)).isoformat()
    answer = as_staff.post(
        f"/prescriptions/{cast.pk}/card/", {"sealed_on": today.isoformat(), "open_by": late}
    )
    assert answer.status_code == 422
    assert "within 7 days of sealing" in answer.content.decode()
    assert f'value="{late}"' in answer.content.decode()


def test_a_manager_reads_a_card_and_gives_none(as_manager, cast):
    card = factories.opening_card(of=cast, open_by=timezone.localdate() + timedelta(days=7))
    assert as_manager.get(f"/cards/{card.pk}/").status_code == 200
    assert as_manager.post(f"/cards/{card.pk}/").status_code == 403
