"""Facts of the record become the prognosis; what was not asked stays unknown."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.curves.reads.healing import courses_of, healing_of
from clinic.curves.reads.prognosis import backgrounds, prognosis_facts
from clinic.models import Circumstances, Depth, Wear
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731


@pytest.fixture
def person(site):
    return factories.person(at=site, dialysis=None)


def ulcer(person, *, first=14, areas=(4.0, 3.6, 3.3), **fields):
    limb = person.limbs.first() or factories.limb(of=person)
    found = factories.lesion(
        on=limb, **{"first_seen_on": AGO(first), "onset_on": AGO(first + 10), "wound_kind": "ulcer"} | fields
    )
    factories.series(found, areas, last=AGO(first - 7 * (len(areas) - 1)))
    return found


def facts_of(lesion):
    course = courses_of([lesion])[lesion.pk]
    return prognosis_facts(course.areas, course.readings, backgrounds([lesion])[lesion.pk])


def first_of(lesion):
    return lesion.measurements.order_by("visit__visited_on").first()


def answer(row, **values):
    type(row).objects.filter(pk=row.pk).update(**values)


def test_nothing_asked_is_nothing_known(person):
    found = ulcer(person)
    lesion_rows = found.measurements.all()
    lesion_rows.update(depth="", infection_grade=None, deep_infection=None, probe_to_bone=None)
    person.visits.update(wear="")
    facts = facts_of(found)
    assert (facts.is_deep, facts.infected, facts.dialysis, facts.does_not_walk, facts.device_not_worn) == (
        None,
        None,
        None,
        None,
        None,
    )
    assert (facts.is_old, facts.ulcers, facts.area) == (False, 1, 400.0)


@pytest.mark.parametrize(("days", "old"), [(60, False), (61, False), (62, True)])
def test_an_ulcer_is_old_after_two_months(person, days, old):
    assert facts_of(ulcer(person, onset_on=AGO(14 + days))).is_old is old


@pytest.mark.parametrize(
    ("found", "deep"),
    [
        ({"depth": Depth.BONE, "deep_infection": None, "probe_to_bone": None}, True),
        ({"depth": Depth.SKIN, "deep_infection": True, "probe_to_bone": None}, True),
        ({"depth": "", "deep_infection": None, "probe_to_bone": True}, True),
        ({"depth": Depth.SKIN, "deep_infection": False, "probe_to_bone": None}, None),
        ({"depth": "", "deep_infection": False, "probe_to_bone": False}, None),
        ({"depth": Depth.SKIN, "deep_infection": False, "probe_to_bone": False}, False),
    ],
)
def test_deep_is_a_finding_and_not_deep_needs_all_three_looked_at(person, found, deep):
    lesion = ulcer(person)
    answer(first_of(lesion), **found)
    assert facts_of(lesion).is_deep is deep


@pytest.mark.parametrize(("grade", "infected"), [(None, None), (1, False), (2, True), (4, True)])
def test_infection_is_that_of_the_first_area(person, grade, infected):
    lesion = ulcer(person)
    lesion.measurements.update(infection_grade=3)
    answer(first_of(lesion), infection_grade=grade)
    assert facts_of(lesion).infected is infected


def test_what_is_found_later_is_not_what_was_known_at_first(person):
    lesion = ulcer(person)
    before = facts_of(lesion)
    answer(lesion.measurements.order_by("visit__visited_on").last(), depth=Depth.BONE, infection_grade=4)
    assert facts_of(lesion) == before


@pytest.mark.parametrize("dialysis", [None, True, False])
def test_dialysis_is_the_persons(person, dialysis):
    person.dialysis = dialysis
    person.save()
    assert facts_of(ulcer(person)).dialysis is dialysis


@pytest.mark.parametrize(
    ("mobility", "still"),
    [
        ("", None),
        ("walks", False),
        ("walks_with_aid", False),
        ("transfers_only", True),
        ("does_not_walk", True),
    ],
)
def test_walking_is_the_last_answer_of_the_first_weeks(person, mobility, still):
    lesion = ulcer(person)
    if mobility:
        by = factories.author()
        Circumstances.objects.create(person=person, asked_on=AGO(10), mobility=mobility, created_by=by)
    assert facts_of(lesion).does_not_walk is still


@pytest.mark.parametrize("wear", ["", *Wear.values])
def test_a_device_worn_for_half_the_steps_or_less_is_not_worn(person, wear):
    lesion = ulcer(person)
    person.visits.update(wear="")
    last = person.visits.order_by("visited_on").last()
    answer(last, wear=wear)
    expected = None if not wear else wear in ("half", "few", "none", "opened")
    assert facts_of(lesion).device_not_worn is expected


def test_ulcers_open_on_that_day_are_counted_and_others_not(person):
    lesion = ulcer(person)
    ulcer(person, label="B", first=20)
    ulcer(person, label="C", first=3, areas=(1.0,))
    ulcer(person, label="D", first=40, wound_kind="pre_ulcer")
    ulcer(person, label="E", first=90, state="ended", outcome="minor_amputation", ended_on=AGO(30))
    assert facts_of(lesion).ulcers == 2


def test_a_wound_that_is_no_ulcer_has_no_prognosis(person):
    assert facts_of(ulcer(person, wound_kind="blister")) is None


def test_facts_reach_the_forecast_of_the_third_area(person):
    lesion = ulcer(person)
    lesion.measurements.update(infection_grade=1)
    before = healing_of(lesion).report.forecast.chance_20w
    lesion.measurements.update(infection_grade=3)
    assert healing_of(lesion).report.forecast.chance_20w < before
