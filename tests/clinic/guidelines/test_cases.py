"""Every row of the case table, driven through ``decide``; the citation stands in the row."""

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
    applied = {topic for topic, r in current().recommendations.items() if r.content != "memory_low"}
    assert {case.topic for case in CASES} == applied
    assert all(case.citation for case in CASES)


def test_every_row_of_the_table_changes_some_case():
    changed = {row for case in CASES for row in decide(parse(case.facts)).rows}
    assert {row.id for row in current().rows} - changed == set()
