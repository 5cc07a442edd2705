"""The invented network: exact sizes, the same from the same seed, allowed by every constraint, marked in
the chain.
"""

import json
from datetime import date

import pytest

from clinic.models import AuditEvent, Lesion, Measurement, Person, Prescription, Site
from clinic.record.writes.audit import faults
from tests import factories
from tests.bench.invented import Sizes
from tests.bench.seed_network import main, seeded

SIZES = {"sites": 2, "people": 12, "lesions": 17, "measurements": 230}


def network(**sizes):
    return seeded(Sizes(**{**SIZES, **sizes}), 7, date(2026, 11, 25), lambda done, rows: None)


def written():
    return [
        list(Lesion.objects.order_by("pk").values_list("place", "first_seen_on", "state", "closed_on")),
        list(Measurement.objects.order_by("pk").values_list("visit__visited_on", "area_mm2")),
        list(Prescription.objects.order_by("pk").values_list("device_class", "fitted_on", "agreement")),
    ]


@pytest.mark.django_db
def test_sizes_are_met_exactly_and_the_same_seed_makes_the_same_network():
    network()
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
    with pytest.raises(ValueError, match="there are people"):
        network()
    assert written() == before


@pytest.mark.django_db
def test_what_was_written_in_bulk_passes_the_checks_of_a_single_save():
    network()
    for model in (Person, Lesion, Measurement, Prescription):
        for row in model.objects.all():
            row.full_clean(exclude=["created_by"])


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"people": 1}, {"lesions": 30}, {"measurements": 17}])
def test_sizes_that_do_not_fit_each_other_are_refused(wrong):
    with pytest.raises(ValueError, match=f"{next(iter(wrong))}|sites, people"):
        network(**wrong)
    assert not Site.objects.exists()


@pytest.mark.django_db
def test_nothing_is_invented_in_production(settings):
    settings.PRODUCTION = True
    with pytest.raises(ValueError, match="production"):
        network()
    assert not Site.objects.exists()


@pytest.mark.django_db
def test_the_command_tells_what_it_wrote_or_why_it_did_not(capsys):
    asked = [word for name, n in SIZES.items() for word in (f"--{name}", str(n))]
    main(asked)
    assert "2 sites, 12 people, 17 lesions, 230 measurements" in capsys.readouterr().out
    with pytest.raises(SystemExit, match="there are people"):
        main(asked)
