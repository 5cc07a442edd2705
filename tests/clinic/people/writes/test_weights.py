"""A weight corrected or withdrawn: what counts is as if it had been typed right; the history keeps both."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.people.reads.people import person_bar
from clinic.people.writes.weights import weight_correct, weight_withdraw
from clinic.record.errors import Refused
from clinic.relief.reads.relief_record import limb_record
from tests import factories

TODAY = timezone.localdate


@pytest.fixture
def weights(person):
    old = factories.weight(of=person, kg=82, on=TODAY() - timedelta(days=20))
    return old, factories.weight(of=person, kg=128, on=TODAY())


def told(weight, **more):
    return {
        "weight": weight,
        "kg": weight.kg,
        "how": weight.how,
        "measured_on": weight.measured_on,
        "reason": "typed 128 for 82",
        "expected_version": weight.version,
        **more,
    }


def test_a_weight_withdrawn_gives_the_one_before_it_back(staff, person, weights):
    limb = factories.limb(of=person)
    weight_withdraw(by=staff, weight=weights[1], reason="another patient", expected_version=1)
    assert limb_record(limb).weight == weights[0]
    assert person_bar(person).weight == weights[0]
    assert weights[1].history.count() == 2
    with pytest.raises(Refused, match="was withdrawn"):
        weight_withdraw(by=staff, weight=weights[1], reason="again", expected_version=2)
    with pytest.raises(Refused, match="was withdrawn"):
        weight_correct(by=staff, **told(weights[1], expected_version=2))


def test_a_weight_corrected_counts_as_corrected(staff, person, weights):
    weight_correct(by=staff, **told(weights[1], kg=Decimal("82.5")))
    assert limb_record(factories.limb(of=person)).weight.kg == Decimal("82.5")
    with pytest.raises(Refused, match="why"):
        weight_correct(by=staff, **told(weights[1], reason=" ", expected_version=2))
    day = TODAY() + timedelta(days=1)
    with pytest.raises(Refused, match="latest possible is today"):
        weight_correct(by=staff, **told(weights[1], measured_on=day, expected_version=2))


def test_the_day_of_a_visit_s_weight_is_corrected_at_the_visit(staff, person):
    weight = factories.weight(of=person, visit=factories.visit(of=person))
    with pytest.raises(Refused, match="correct the day of the visit"):
        weight_correct(by=staff, **told(weight, measured_on=TODAY() - timedelta(days=1)))


def test_the_pages_correct_and_withdraw(as_staff, person, weights):
    page = as_staff.get(reverse("person", args=[person.pk])).content.decode()
    url = reverse("weight_correct", args=[weights[1].pk])
    assert url in page
    sent = {"kg": "82.0", "how": "scales", "measured_on": TODAY().isoformat(), "version": 1}
    assert as_staff.post(url, sent).status_code == 422
    assert as_staff.post(url, {**sent, "reason": "typo"}).status_code == 302
    url = reverse("weight_withdraw", args=[weights[1].pk])
    assert as_staff.post(url, {"version": 1, "reason": "x"}).status_code == 422
    assert as_staff.post(url, {"version": 2, "reason": "x"}).status_code == 302
    assert as_staff.get(url).status_code == 404
