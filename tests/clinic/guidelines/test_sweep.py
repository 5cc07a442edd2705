"""Every combination of site, cause, infection and ischaemia, each with missing, under the safety rules.

The invariants are written here from the published matrix and the clinic's rules, not read from the table.
"""

import collections
import itertools

import pytest

from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.facts import CHOICES, Facts
from clinic.guidelines.table import current, decide
from tests.clinic.guidelines.cases import PLAIN

REGIONS = (*CHOICES["region"], None)
SURFACES = (*CHOICES["surface"], None)
CAUSES = (*CHOICES["cause"], None)
INFECTIONS = (1, 2, 3, 4, None)
ISCHAEMIAS = (0, 1, 2, 3, None)
SWEPT = ("region", "surface", "cause", "infection_grade", "ischaemia_grade")
BLOCKING = (
    "osteomyelitis",
    "high_falls_risk",
    "cannot_attend_weekly",
    "both_feet_ulcerated",
    "active_charcot",
)
STAYS_ON_CELLS = {(1, 0), (1, 1), (2, 0)}
TREAT_FIRST_CELLS = {(1, 3), (2, 3), (3, 2), (3, 3), (4, 0), (4, 1), (4, 2), (4, 3)}
PRODUCT = list(itertools.product(REGIONS, SURFACES, CAUSES, INFECTIONS, ISCHAEMIAS))


def assert_safe(facts, advice):
    """What must hold for any facts at all."""
    offered = [offer.id for offer in advice.classes]
    withheld = [w.id for w in advice.withheld]
    referred = {referral.id: referral.urgency for referral in advice.refer}
    assert offered or referred or advice.missing, "no answer"
    assert len(set(offered)) == len(offered)
    assert not set(offered) & set(withheld)
    assert {*offered, *withheld} >= NON_REMOVABLE
    assert all(w.because for w in advice.withheld)
    assert [o.tier for o in advice.classes] == sorted(o.tier for o in advice.classes)
    if NON_REMOVABLE & set(offered):
        assert (facts.infection_grade, facts.ischaemia_grade) in STAYS_ON_CELLS
        assert facts.osteomyelitis is False
        assert facts.high_falls_risk is False
        assert facts.cannot_attend_weekly is False
        assert facts.both_feet_ulcerated is not None
        assert facts.active_charcot is not None
        assert facts.declines_non_removable is not True
        assert facts.device_available is not False
        assert facts.surface == "plantar"
    cell = (facts.infection_grade, facts.ischaemia_grade)
    if cell in TREAT_FIRST_CELLS or facts.ischaemia_grade == 3 or facts.infection_grade == 4:
        assert referred["treat_infection_or_ischaemia_first"] == "immediate"
    if facts.ischaemia_grade == 3:
        assert referred["vascular_assessment"] == "immediate"
    if facts.ischaemia_grade == 2:
        assert referred["vascular_assessment"] in ("immediate", "one_working_day")
    if facts.infection_grade in (3, 4) or facts.osteomyelitis:
        assert referred["infection_assessment"] == "immediate"
    if facts.infection_grade == 2:
        assert referred["infection_assessment"] in ("immediate", "one_working_day")
    if facts.active_charcot:
        assert referred["charcot_assessment"] == "one_working_day"
        assert not {"ankle_high_removable", "footwear_modification", "felted_foam_with_footwear"} & set(
            offered
        )
    if "felted_foam_with_footwear" in offered:
        assert facts.device_available is False
    if facts.surface == "plantar":
        assert "footwear_modification" not in offered
    if "flexor_tenotomy" in referred:
        assert facts.ischaemia_grade in (0, 1, 2)
        assert facts.infection_grade == 1
        assert facts.osteomyelitis is False
    if facts.bulky_calf:
        assert not {"walker_non_removable", "walker_knee_high_removable"} & set(offered)
    topics = set(advice.rules)
    assert len(topics & {"FIRST_NR", "IS_A"}) < 2
    assert not ({"FIRST_NR", "IS_A"} & topics and {"IS_B", "IS_C"} & topics)
    assert not {"IS_B", "IS_C"} <= topics


@pytest.mark.parametrize("known", [True, False], ids=["other facts known", "other facts missing"])
def test_the_whole_product_is_answered_safely(known):
    rest = {name: value for name, value in PLAIN.items() if name not in SWEPT} if known else {}
    for values in PRODUCT:
        facts = Facts(**dict(zip(SWEPT, values, strict=True)), **rest)
        assert_safe(facts, decide(facts))


def test_a_device_that_stays_on_appears_in_three_cells_and_in_no_other():
    rest = {name: value for name, value in PLAIN.items() if name not in SWEPT}
    counts = collections.Counter()
    for values in PRODUCT:
        advice = decide(Facts(**dict(zip(SWEPT, values, strict=True)), **rest))
        counts[values[3], values[4]] += any(offer.id in NON_REMOVABLE for offer in advice.classes)
    # Five plantar regions; with ischaemia 0 only the neuropathic cause, with 1 the neuroischaemic one too.
    assert +counts == {(1, 0): 5, (2, 0): 5, (1, 1): 10}


@pytest.mark.parametrize("fact", BLOCKING)
def test_one_missing_blocking_fact_withholds_what_stays_on_everywhere(fact):
    rest = {name: value for name, value in PLAIN.items() if name not in (*SWEPT, fact)}
    for values in PRODUCT[::3]:
        advice = decide(Facts(**dict(zip(SWEPT, values, strict=True)), **rest))
        assert {w.id for w in advice.withheld} >= NON_REMOVABLE


@pytest.mark.parametrize("fact", sorted(set(PLAIN) - set(SWEPT)))
def test_each_further_fact_in_each_state_is_answered_safely(fact):
    rest = {name: value for name, value in PLAIN.items() if name not in (*SWEPT, fact)}
    for values in PRODUCT[::37]:
        for state in (False, True, None):
            facts = Facts(**dict(zip(SWEPT, values, strict=True)), **rest, **{fact: state})
            assert_safe(facts, decide(facts))


def test_no_row_reads_more_than_two_facts_beyond_the_product():
    """So that sweeping pairs of further facts, as the long sweep does, goes through every row."""
    for row in current().rows:
        assert len(row.reads - set(SWEPT)) <= 2, row.id
