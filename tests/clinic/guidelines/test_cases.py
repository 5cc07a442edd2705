"""Every row of the case table, driven through ``decide``; the citation stands in the row."""

import dataclasses

import pytest

from clinic.guidelines.facts import parse
from clinic.guidelines.table import advice_json, current, decide
from tests.clinic.guidelines.cases import CASES


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.topic}: {case.name}")
def test_a_case_is_answered_as_its_citation_says(case):
    advice = advice_json(decide(parse(case.facts)))
    assert [offer["id"] for offer in advice["classes"]] == case.classes
    assert {withheld["id"] for withheld in advice["withheld"]} == case.withheld
    assert {(referral["id"], referral["urgency"]) for referral in advice["refer"]} == case.refer
    assert set(advice["rules"]) == case.rules
    assert advice["missing"] == case.missing
    if case.caution:
        assert any(case.caution in text for offer in advice["classes"] for text in offer["cautions"])


def test_the_case_table_is_large_and_covers_every_applied_topic():
    assert len(CASES) >= 80
    assert len({case.name for case in CASES}) == len(CASES)
    applied = {row.topic for row in current().rows if row.topic is not None}
    assert {case.topic for case in CASES} == applied
    assert all(case.citation for case in CASES)


# Each only repeats what another row already withholds; both stand so that either may be edited without
# danger.
SECOND_LOCKS = {
    "nr_not_with_osteomyelitis": "the matrix counts infected bone",
    "nr_impossible_site": "not plantar",
}


def asserted(case, table):
    """What the case table says of an answer."""
    advice = advice_json(decide(parse(case.facts), table))
    offers = advice["classes"]
    return (
        [(offer["id"], offer["tier"]) for offer in offers],
        {withheld["id"] for withheld in advice["withheld"]},
        {(referral["id"], referral["urgency"]) for referral in advice["refer"]},
        set(advice["rules"]),
        bool(case.caution) and any(case.caution in text for offer in offers for text in offer["cautions"]),
    )


@pytest.mark.parametrize("row", current().rows, ids=lambda row: row.id)
def test_a_table_without_this_row_fails_some_case(row):
    less = dataclasses.replace(current(), rows=tuple(r for r in current().rows if r is not row))
    noticed = any(asserted(case, less) != asserted(case, current()) for case in CASES)
    assert noticed is (row.id not in SECOND_LOCKS)


def test_every_row_of_the_table_changes_some_case():
    changed = {row for case in CASES for row in decide(parse(case.facts)).rows}
    assert {row.id for row in current().rows} - changed == set()
