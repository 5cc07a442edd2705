"""A device that stays on stands on exactly one list while it runs: sealed, or opened and asked about."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.guidelines.devices import NON_REMOVABLE
from clinic.models import OPENED, SEALED, Prescription
from tests import factories

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.mark.parametrize("device_class", sorted(NON_REMOVABLE))
@pytest.mark.parametrize("opened", [None, 0, -5])
@pytest.mark.parametrize("stopped", [False, True])
def test_a_device_that_stays_on_is_on_one_list_until_it_is_stopped(
    device_class, opened, stopped, person, as_staff
):
    device = factories.prescription(
        of=factories.limb(of=person),
        device_class=device_class,
        prescribed_on=days(-20),
        fitted_on=days(-14),
        sealed_on=days(-6),
        open_by=days(1),
        opened_on=None if opened is None else days(opened),
        **({"stopped_on": TODAY(), "stop_reason": "changed"} if stopped else {}),
    )
    lists = [Prescription.objects.filter(one, pk=device.pk).count() for one in (SEALED, OPENED)]
    assert sum(lists) == (0 if stopped else 1)
    page = as_staff.get(reverse("today")).content.decode()
    assert ("neither sealed again nor stopped" in page) == (opened is not None and not stopped)


def test_sealing_it_again_takes_it_off_the_list(person, as_staff):
    device = factories.prescription(
        of=factories.limb(of=person),
        device_class="total_contact_cast",
        fitted_on=days(-14),
        sealed_on=days(-6),
        open_by=days(1),
        opened_on=TODAY(),
    )
    assert "Seal again or stop it" in as_staff.get(reverse("today")).content.decode()
    Prescription.objects.filter(pk=device.pk).update(sealed_on=TODAY(), opened_on=None, open_by=days(6))
    assert "Seal again or stop it" not in as_staff.get(reverse("today")).content.decode()
