"""Laws of the decision over any facts, and its output form."""

import dataclasses
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.guidelines.devices import DEVICES, REFERRALS, URGENCIES
from clinic.guidelines.edition import editions
from clinic.guidelines.errors import FactsError
from clinic.guidelines.facts import FIRST_GROUP, Facts, parse
from clinic.guidelines.table import advice_json, current, decide
from tests.clinic.guidelines.bit_masks import BitMasks
from tests.clinic.guidelines.cases import PLAIN
from tests.clinic.guidelines.strategies import any_facts
from tests.clinic.guidelines.sweep import assert_safe, named

FRESH = dataclasses.replace(current())
MASKS = {name: BitMasks(table) for name, table in editions().items()}


@settings(max_examples=300)
@given(any_facts)
def test_any_facts_get_a_safe_answer(facts):
    assert_safe(facts, decide(facts))


@given(any_facts)
def test_the_same_facts_get_the_same_answer_from_a_fresh_table(facts):
    assert decide(facts, FRESH) == decide(parse(dataclasses.asdict(facts)))


@settings(max_examples=200)
@given(any_facts)
def test_missing_names_exactly_the_absent_facts_of_the_first_group(facts):
    expected = tuple(name for name in FIRST_GROUP if getattr(facts, name) is None)
    assert decide(facts).missing == expected


@settings(max_examples=200)
@given(any_facts, st.sampled_from(FIRST_GROUP))
def test_forgetting_a_fact_never_brings_a_device_that_stays_on(facts, forgotten):
    """Unless what is forgotten was the very refusal: wish, dressing, deformity, calf and availability do
    not block.
    """
    soft = {
        "declines_non_removable",
        "needs_frequent_dressing",
        "large_deformity",
        "bulky_calf",
        "device_available",
    }
    before = {offer.id for offer in decide(facts).classes}
    after = {offer.id for offer in decide(dataclasses.replace(facts, **{forgotten: None})).classes}
    if forgotten not in soft:
        assert not ({"total_contact_cast", "walker_non_removable"} & after) - before


@settings(max_examples=300)
@given(any_facts, st.sampled_from([*editions().values()]))
def test_what_holds_is_the_same_by_bit_masks(facts, table):
    """Optional facts too, which the sweep leaves missing, and every edition."""
    masks = MASKS[table.id]
    assert named(facts, table) == masks.named(masks.holding(facts))


@settings(max_examples=150)
@given(any_facts)
def test_the_json_keeps_the_contract(facts):
    advice = json.loads(json.dumps(advice_json(decide(facts)), allow_nan=False))
    assert list(advice) == ["classes", "withheld", "refer", "rules", "missing", "edition", "notice"]
    for offer in advice["classes"]:
        assert list(offer) == ["id", "tier", "rules", "cautions"]
        assert offer["id"] in DEVICES
        assert offer["tier"] in (1, 2, 3)
        assert offer["rules"]
        assert set(offer["rules"]) <= set(advice["rules"]) <= set(current().recommendations)
    for withheld in advice["withheld"]:
        assert list(withheld) == ["id", "because"]
        assert withheld["id"] in DEVICES
    for referral in advice["refer"]:
        assert list(referral) == ["id", "urgency", "because"]
        assert referral["id"] in REFERRALS
        assert referral["urgency"] in URGENCIES
    assert "Not a diagnosis" in advice["notice"]


def test_advice_cannot_be_changed():
    advice = decide(parse(PLAIN))
    with pytest.raises(dataclasses.FrozenInstanceError):
        advice.edition = "another"
    assert all(isinstance(getattr(advice, f.name), tuple | str) for f in dataclasses.fields(advice))


def test_facts_built_with_an_unknown_value_are_refused():
    with pytest.raises(FactsError, match="region is 'ear'"):
        decide(Facts(region="ear"))  # type: ignore[arg-type]
    with pytest.raises(FactsError, match="ischaemia_grade is 9"):
        decide(Facts(ischaemia_grade=9))
    with pytest.raises(FactsError, match="infection_grade is True"):
        decide(Facts(infection_grade=True))


def test_derived_reasons_are_said_to_be_derived():
    heel = decide(parse({**PLAIN, "region": "rearfoot"}))
    cast = next(offer for offer in heel.classes if offer.id == "total_contact_cast")
    assert any("derived" in text for text in cast.derived)
    forefoot = decide(parse(PLAIN))
    assert all(not offer.derived for offer in forefoot.classes)


def test_a_withheld_class_gives_every_reason():
    advice = decide(parse({**PLAIN, "high_falls_risk": True, "cannot_attend_weekly": True}))
    cast = next(w for w in advice.withheld if w.id == "total_contact_cast")
    assert cast.rows == ("nr_high_falls_risk", "nr_cannot_attend")
    assert "falls" in cast.because
    assert "weekly" in cast.because


def test_contradictions_are_named_with_what_is_withheld():
    advice = advice_json(decide(parse({**PLAIN, "osteomyelitis": True})))
    assert all("read as grade 3" in withheld["because"] for withheld in advice["withheld"])
