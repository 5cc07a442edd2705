"""The two years before the invented clinic's present week: packed, loaded, and what the services produce."""

from collections import Counter
from dataclasses import replace
from itertools import islice

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection, models

from clinic.demo.packed import PACK, pack, packed_until, unpack
from clinic.demo.past import FIRST, PEOPLE, UNTIL, past_plots
from clinic.demo.play import open_site, play_people
from clinic.demo.scenario import load
from clinic.models import AuditEvent, LesionState, Person, PersonState, Prescription, Site
from clinic.record.append_only import install
from clinic.record.reads.person_rows import nouns_of
from tests.security.played import faults

pytestmark = pytest.mark.django_db

ON_SQLITE = pytest.mark.skipif(
    connection.vendor != "sqlite",
    reason="the past is loaded where it was hashed: PostgreSQL keeps no minus zero",
)
#: Drawn anew by each playing: keys and numbers of rows.
DRAWN = (models.UUIDField, models.AutoField, models.BigAutoField, models.ForeignKey, models.OneToOneField)


def short():
    """The person of the past with the fewest weeks."""
    return min(past_plots(), key=lambda plot: (plot.weeks, plot.number))


def opened():
    scenario = load(settings.BASE_DIR / "fixtures" / "clinic.toml")
    return open_site(scenario)


def every_row():
    tables = [m for app in ("clinic", "offload") for m in apps.get_app_config(app).get_models(True)]
    told = AuditEvent._meta.label
    return {
        m._meta.label: list(m._base_manager.order_by("pk").values_list())
        for m in tables
        if m._meta.label != told
    }


def empty():
    tables = [
        m._meta.db_table for app in ("clinic", "offload") for m in apps.get_app_config(app).get_models(True)
    ]
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f"DELETE FROM {connection.ops.quote_name(table)}")  # noqa: S608


def test_the_same_seed_draws_the_same_people_with_numbers_and_names_of_their_own():
    people = past_plots()
    assert people == past_plots()
    assert len(people) == PEOPLE == len({plot.number for plot in people})
    assert len({(plot.given, plot.family) for plot in people}) == PEOPLE


def test_everybody_of_the_past_comes_and_goes_within_it():
    for plot in past_plots():
        days = plot.last_days_ago + 7 * (plot.weeks - 1)
        assert plot.moved_days_ago is not None
        assert 0 < plot.moved_days_ago < plot.last_days_ago
        assert days <= (UNTIL - FIRST).days, plot.number


def test_packed_rows_come_back_as_they_were_and_the_record_holds(tmp_path):
    site = opened()
    play_people([replace(short(), weeks=4)], site, UNTIL)
    before, told = every_row(), [event.detail for event in AuditEvent.objects.all()]
    assert pack(tmp_path / "past", UNTIL) == sum(map(len, before.values())) + len(told)
    empty()
    unpack(tmp_path / "past")
    assert packed_until(tmp_path / "past") == UNTIL
    assert every_row() == before
    assert [event.detail for event in AuditEvent.objects.all()] == told
    install(connection)
    assert not faults()


def rows_of(person):
    """What is on record of a person, but what each playing draws anew."""
    found = {}
    for model, path in nouns_of():
        fields = [f for f in model._meta.concrete_fields if not isinstance(f, DRAWN)]
        names = [f.name for f in fields if "digest" not in f.name]  # taken over numbers of rows
        rows = model.objects.filter(**{path: person.pk}).distinct().values_list(*names)
        found[model._meta.label] = Counter(map(repr, rows))
    return found


@pytest.mark.full_pressure  # the file keeps plans as the program solves them
@ON_SQLITE
def test_a_sample_of_the_packed_past_is_what_the_services_produce():
    unpack(PACK)
    packed = Site.objects.get()
    other = opened_beside(packed)
    sample = sorted(past_plots(), key=lambda plot: (plot.weeks, plot.number))
    for plot in islice(sample, 3):
        play_people([plot], other, packed_until(PACK), first=past_plots().index(plot))
        ours, theirs = (Person.objects.get(record_number=plot.number, site=s) for s in (packed, other))
        assert rows_of(ours) == rows_of(theirs), plot.number


def opened_beside(site):
    """Another clinic with the same house rules and users of its own names."""
    scenario = load(settings.BASE_DIR / "fixtures" / "clinic.toml")
    users = tuple({**user, "username": f"{user['username']}-2"} for user in scenario.users)
    return open_site(replace(scenario, site={**scenario.site, "short_name": "beside"}, users=users))


@ON_SQLITE
def test_nothing_of_the_past_waits_on_a_list():
    unpack(PACK)
    install(connection)
    assert not faults()
    assert not Person.objects.filter(state=PersonState.IN_CARE).exists()
    assert not Prescription.objects.filter(stopped_on=None).exists()
    states = Counter(
        row.state
        for person in Person.objects.all()
        for limb in person.limbs.all()
        for row in limb.lesions.all()
    )
    assert set(states) <= {LesionState.HEALED, LesionState.ENDED}
    assert sum(states.values()) >= 250
