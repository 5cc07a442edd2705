"""What the record owes: each gap opens and shuts by exactly its own finding."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.audit.reads.completeness import GAPS, gap_counts, gap_page
from clinic.models import Photo, PhotoScale
from tests import factories
from tests.clinic.audit.scene import ago


def owed(site):
    return {row.gap.key: (row.count, row.of) for row in gap_counts([site.pk], timezone.localdate())}


@pytest.fixture
def lesion(site):
    return factories.lesion(on=factories.limb(of=factories.person(at=site)), first_seen_on=ago(30))


def test_an_open_lesion_with_nothing_looked_at_owes_everything(site, lesion):
    got = owed(site)
    assert [got[key] for key in ("perfusion", "sensation", "depth", "weight")] == [(1, 1)] * 4
    assert got["infection"] == (0, 1)  # no visit yet: nothing was overlooked at it


@pytest.mark.parametrize(("age", "count"), [(90, 0), (91, 1)])
def test_blood_flow_counts_for_as_long_as_the_house_rule_says(site, lesion, age, count):
    factories.finding(of=lesion.limb, found_on=ago(age), toe_pressure_mmhg=60)
    assert owed(site)["perfusion"][0] == count
    site.perfusion_fresh_days = 120
    site.save()
    assert owed(site)["perfusion"][0] == 0


def test_two_clinics_each_keep_their_own_number_of_days(site, other_site, lesion):
    site.perfusion_fresh_days = 30
    site.save()
    there = factories.lesion(on=factories.limb(of=factories.person(at=other_site)))
    for one in (lesion, there):
        factories.finding(of=one.limb, found_on=ago(60), toe_pressure_mmhg=60)
    rows = gap_counts([site.pk, other_site.pk], timezone.localdate())
    assert next(row.count for row in rows if row.gap.key == "perfusion") == 1


@pytest.mark.parametrize(("age", "count"), [(30, 0), (31, 1)])
def test_a_weight_is_overdue_after_the_house_rule(site, lesion, age, count):
    factories.weight(of=lesion.limb.person, on=ago(age))
    assert owed(site)["weight"] == (count, 1)


def test_sensation_depth_and_infection_are_owed_until_looked_at(site, lesion):
    factories.finding(of=lesion.limb, monofilament_tested=10, monofilament_felt=4)
    at = factories.visit(of=lesion.limb.person)
    factories.measurement(at=at, of=lesion, depth="skin", infection_looked=False)
    got = owed(site)
    assert [got[key][0] for key in ("sensation", "depth", "infection")] == [0, 0, 1]


def test_a_visit_with_an_open_lesion_and_no_measurement_is_owed(site, lesion):
    at = factories.visit(of=lesion.limb.person, on=ago(3))
    factories.visit(of=lesion.limb.person, on=ago(4), attendance="did_not_come")
    factories.visit(of=lesion.limb.person, on=ago(40))  # before the lesion was seen
    assert owed(site)["measurement"] == (1, 1)
    factories.measurement(at=at, of=lesion)
    assert owed(site)["measurement"] == (0, 1)


def test_a_photo_owes_a_scale_until_one_is_marked(site, lesion):
    photo = Photo.objects.create(
        lesion=lesion,
        taken_on=ago(2),
        file="photos/x.jpg",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        created_by=factories.author(),
    )
    assert owed(site)["scale"] == (1, 1)
    PhotoScale.objects.create(
        photo=photo,
        reference="ruler",
        marks_px=[[0, 0], [1, 1]],
        matrix=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        error_percent=5,
        created_by=factories.author(),
    )
    assert owed(site)["scale"] == (0, 1)


def test_who_left_owes_nothing(site, lesion):
    person = lesion.limb.person
    person.state, person.state_on = "moved", ago(1)
    person.save()
    assert owed(site)["perfusion"] == (0, 0)


def test_each_row_leads_to_where_it_is_mended_or_to_the_person(as_staff, as_manager, lesion):
    person = lesion.limb.person
    page = as_staff.get("/audit/completeness/").content.decode()
    assert "1 of 1" in page
    assert (
        f'href="/people/{person.pk}/weights/new/"'
        in as_staff.get("/audit/completeness/list/?gap=weight").content.decode()
    )
    led = as_manager.get("/audit/completeness/list/?gap=weight").content.decode()
    assert "weights/new" not in led
    assert f'href="/people/{person.pk}/"' in led
    for wrong in ("gap=invented", "gap=weight&after=x", f"gap=weight&after={'9' * 30}"):
        assert as_staff.get(f"/audit/completeness/list/?{wrong}").status_code == 404


def test_every_gap_has_a_list_of_as_many_rows_as_it_counts(site, as_staff):
    for n in range(4):
        lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)), first_seen_on=ago(30))
        factories.visit(of=lesion.limb.person, on=timezone.localdate() - timedelta(days=n), unfinished=True)
    for row in gap_counts([site.pk], timezone.localdate()):
        assert len(gap_page(GAPS[row.gap.key], [site.pk], timezone.localdate(), None).rows) == row.count
        assert as_staff.get(f"/audit/completeness/list/?gap={row.gap.key}").status_code == 200


def test_queries_do_not_grow_with_the_cases(site):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as caught:
            owed(site)
        return len(caught)

    factories.lesion(on=factories.limb(of=factories.person(at=site)))
    few = queries()
    for _ in range(5):
        factories.lesion(on=factories.limb(of=factories.person(at=site)))
    assert queries() == few


@pytest.mark.parametrize(
    ("found", "owes"), [({"ankle_index": "1.10"}, 1), ({"waveform": "biphasic"}, 0), ({"tcpo2_mmhg": 55}, 0)]
)
def test_an_ankle_value_alone_leaves_the_blood_supply_owed(site, lesion, found, owes):
    factories.finding(of=lesion.limb, **found)
    assert owed(site)["perfusion"][0] == owes
