"""Which records look like one person's, and why; never across clinics, and with a fixed number of queries."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.models import PeopleApart
from clinic.people.reads.duplicates import Likeness, likely_pairs, likeness
from clinic.people.writes.merging import people_keep_apart
from tests import factories
from tests.clinic.people.two_records import merge

BASE = {
    "given": "Alma",
    "family": "Reed",
    "birth_date": date(1950, 3, 4),
    "telephone": "",
    "number": "A-0012",
}


def likened(**other):
    return likeness(
        Likeness.of(1, **BASE), Likeness.of(2, **{**BASE, "number": "B-77", "telephone": "", **other})
    )[1]


@pytest.mark.parametrize(
    ("other", "reasons"),
    [
        ({}, ("same name", "born on the same day")),
        ({"family": "Réed"}, ("same name", "born on the same day")),
        ({"family": "Read"}, ("names spelt alike", "born on the same day")),
        ({"given": "Reed", "family": "Alma"}, ("given and family name swapped", "born on the same day")),
        ({"birth_date": date(1950, 4, 3)}, ("same name", "day and month of birth swapped")),
        ({"birth_date": date(1951, 3, 4)}, ("same name", "birth dates differ in one digit")),
        ({"family": "Quill"}, ("same given name", "born on the same day")),
        (
            {"birth_date": date(1970, 9, 30), "number": "12"},
            ("same name", "record number the same but for letters, spaces and noughts"),
        ),
    ],
)
def test_what_speaks_for_one_person_is_said_in_words(other, reasons):
    assert likened(**other) == reasons


@pytest.mark.parametrize(
    "other",
    [
        {"birth_date": date(1970, 9, 30)},  # a namesake
        {"given": "Bo", "family": "Quill"},  # only the day of birth
        {"given": "Bo", "birth_date": date(1970, 9, 30)},  # a family
        {"given": "Bo", "family": "Quill", "birth_date": date(1970, 9, 30), "number": "12"},
    ],
)
def test_one_thing_alone_makes_no_pair(other):
    assert likened(**other) == ()


def test_a_telephone_is_compared_by_its_last_digits_and_a_family_is_no_pair():
    one = Likeness.of(1, "Alma", "Reed", date(1950, 3, 4), "+49 (0)30 555 1234", "A-1")
    two = Likeness.of(2, "Al", "Quill", date(1950, 4, 3), "030 5551234", "A-2")
    assert likeness(one, two)[1] == ("day and month of birth swapped", "same telephone")
    married = Likeness.of(3, "Carl", "Reed", date(1949, 1, 1), "030 555 1234", "A-3")
    assert likeness(one, married) == (0, ())
    short = Likeness.of(4, "Zoe", "Quill", date(1950, 3, 4), "000", "A-4")
    assert likeness(Likeness.of(5, "Ed", "Marsh", date(1950, 3, 4), "000", "A-5"), short) == (0, ())


@pytest.mark.django_db
def test_pairs_of_a_clinic_are_found_and_never_across_clinics(site, other_site, podiatrist):
    first = factories.person(at=site, given_name="Alma", family_name="Reed")
    second = factories.person(at=site, given_name="Alma", family_name="Read")
    factories.person(at=other_site, given_name="Alma", family_name="Reed")
    factories.person(at=site, given_name="Bo", family_name="Quill", birth_date=date(1971, 1, 2))
    pairs, count = likely_pairs(site)
    assert count == 1
    assert pairs[0].both == (first, second)
    assert pairs[0].words == "Names spelt alike, born on the same day."
    assert likely_pairs(other_site) == ([], 0)
    merge(podiatrist, first, second)
    assert likely_pairs(site) == ([], 0)


@pytest.mark.django_db
def test_a_pair_told_apart_leaves_the_list(site, staff):
    one, other = (factories.person(at=site, given_name="Alma", family_name="Reed") for _ in range(2))
    people_keep_apart(by=staff, one=other, other=one)
    assert likely_pairs(site) == ([], 0)
    PeopleApart.objects.update(taken_back_at="2026-01-01T00:00Z")
    assert likely_pairs(site)[1] == 1


@pytest.mark.django_db
def test_the_number_of_queries_does_not_grow_with_the_pairs(site):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as told:
            likely_pairs(site)
        return len(told)

    for _ in range(3):
        factories.person(at=site, given_name="Alma", family_name="Reed")
    few = queries()
    for n in range(12):
        factories.person(at=site, given_name="Alma", family_name="Reed", birth_date=date(1960, 5, 17 - n % 2))
    assert queries() == few == 3
