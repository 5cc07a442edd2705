"""Every combination of site, cause, infection and ischaemia, each with missing, under the safety rules."""

import collections

import pytest

from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.facts import Facts
from clinic.guidelines.rows import READ_FROM
from clinic.guidelines.table import current, decide
from tests.clinic.guidelines.bit_masks import BitMasks
from tests.clinic.guidelines.cases import PLAIN
from tests.clinic.guidelines.sweep import (
    FURTHER,
    PRODUCT,
    SWEPT,
    assert_safe,
    further_states,
    named,
    read_coverage,
    rules_digest,
)

REST = {name: PLAIN[name] for name in FURTHER}
BLOCKING = (
    "osteomyelitis",
    "high_falls_risk",
    "cannot_attend_weekly",
    "both_feet_ulcerated",
    "active_charcot",
)


def product(step=1, **rest):
    for values in PRODUCT[::step]:
        yield Facts(**dict(zip(SWEPT, values, strict=True)), **rest)


@pytest.mark.parametrize("rest", [REST, {}], ids=["other facts known", "other facts missing"])
def test_the_whole_product_is_answered_safely(rest):
    answered = 0
    for facts in product(**rest):
        assert_safe(facts, decide(facts))
        answered += 1
    assert answered == 6 * 8 * 5 * 5 * 5


def test_a_device_that_stays_on_appears_in_three_cells_and_in_no_other():
    counts = collections.Counter()
    for facts in product(**REST):
        stays_on = any(offer.id in NON_REMOVABLE for offer in decide(facts).classes)
        counts[facts.infection_grade, facts.ischaemia_grade] += stays_on
    # Five plantar regions; with ischaemia 0 only the neuropathic cause, with 1 the neuroischaemic one too.
    assert +counts == {(1, 0): 5, (2, 0): 5, (1, 1): 10}


@pytest.mark.parametrize("fact", BLOCKING)
def test_one_missing_blocking_fact_withholds_what_stays_on_everywhere(fact):
    for facts in product(**{**REST, fact: None}):
        assert {w.id for w in decide(facts).withheld} >= NON_REMOVABLE


@pytest.mark.parametrize("fact", ["high_falls_risk", "cannot_attend_weekly", "osteomyelitis"])
def test_one_fact_that_forbids_withholds_what_stays_on_everywhere(fact):
    for facts in product(**{**REST, fact: True}):
        assert {w.id for w in decide(facts).withheld} >= NON_REMOVABLE


def test_pairs_of_further_facts_are_answered_safely():
    """Every 331st of the two million; ``python -m tests.clinic.guidelines.sweep`` goes through all of
    them.
    """
    states = list(further_states())
    assert len(states) * len(PRODUCT) == 2_034_000
    masks = BitMasks(current())
    for place in range(0, len(states) * len(PRODUCT), 331):
        values = PRODUCT[place % len(PRODUCT)]
        facts = Facts(**dict(zip(SWEPT, values, strict=True)), **states[place // len(PRODUCT)])
        assert_safe(facts, decide(facts))
        assert named(facts) == masks.named(masks.holding(facts))


def test_no_row_reads_more_than_two_facts_beyond_the_product():
    """So that sweeping pairs of further facts goes through every row; optional facts count as further
    ones.
    """
    for row in current().rows:
        assert len(row.reads - set(SWEPT)) <= 2, row.id


def test_the_record_of_how_often_each_row_decided_belongs_to_these_rules():
    """Any change of the rules asks for the long sweep (``--write``), and its difference is read in review."""
    digest, recorded = read_coverage()
    assert digest == rules_digest()
    assert list(recorded) == [row.id for row in current().rows]
    # Optional facts stay missing in the sweep; the case table goes through the rows that read them.
    idle = {row for row, count in recorded.items() if count == 0}
    assert idle == {
        row.id
        for row in current().rows
        if any(
            "missing" not in values
            for name, values in row.when.items()
            if not set(READ_FROM.get(name, (name,))) <= set(PLAIN)
        )
    }
