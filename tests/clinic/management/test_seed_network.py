"""The invented network: exact sizes, the same from the same seed, allowed by every constraint, marked in the chain."""

import json
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from clinic.models import AuditEvent, Lesion, Measurement, Person, Prescription, Site
from clinic.services.audit import faults
from tests import factories

SIZES = {"sites": 2, "people": 12, "lesions": 17, "measurements": 230, "today": date(2026, 11, 25)}


def written():
    return [
        list(Lesion.objects.order_by("pk").values_list("place", "first_seen_on", "state", "closed_on")),
        list(Measurement.objects.order_by("pk").values_list("visit__visited_on", "area_mm2")),
        list(Prescription.objects.order_by("pk").values_list("device_class", "fitted_on", "agreement")),
    ]


@pytest.mark.django_db
def test_sizes_are_met_exactly_and_the_same_seed_makes_the_same_network():
    call_command("seed_network", **SIZES)
    assert (Site.objects.count(), Person.objects.count()) == (2, 12)
    assert (Lesion.objects.count(), Measurement.objects.count()) == (17, 230)
    before = written()
    for site in Site.objects.all():
        assert list(faults(site.pk)) == []
        first = AuditEvent.objects.get(site_id=site.pk, sequence=1)
        assert first.verb == "seeded in bulk"
        assert json.loads(first.detail)["seed"] == 7
        assert json.loads(first.detail)["rows"]["person"] == 6
    assert not Measurement.history.exists()
    # A key given by the database after the bulk does not collide.
    factories.person(at=Site.objects.first())
    with pytest.raises(CommandError, match="there are people"):
        call_command("seed_network", **SIZES)
    assert written() == before


@pytest.mark.django_db
def test_what_was_written_in_bulk_passes_the_checks_of_a_single_save():
    call_command("seed_network", **SIZES)
    for model in (Person, Lesion, Measurement, Prescription):
        for row in model.objects.all():
            row.full_clean(exclude=["created_by"])


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"people": 1}, {"lesions": 30}, {"measurements": 17}])
def test_sizes_that_do_not_fit_each_other_are_refused(wrong):
    with pytest.raises(CommandError):
        call_command("seed_network", **{**SIZES, **wrong})
    assert not Site.objects.exists()
