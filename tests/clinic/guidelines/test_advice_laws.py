"""Laws of the device advice over the whole input space: dangers only take away, and not knowing never
gives more.
"""

import dataclasses
import itertools
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.guidelines.combine import combine_limb
from clinic.guidelines.devices import DEVICES, URGENCIES
from clinic.guidelines.facts import Facts
from clinic.guidelines.table import advice_json, decide, unasked
from tests.clinic.guidelines.strategies import any_facts

# A few in each run of the suite; LAW_EXAMPLES=20000 asks for as many.
EXAMPLES = int(os.environ.get("LAW_EXAMPLES", "300"))
#: Dangers, each from good to bad; what is asked for in every case, then what is asked for where it matters.
DANGERS = {
    "infection_grade": (1, 2, 3, 4),
    "ischaemia_grade": (0, 1, 2, 3),
    "osteomyelitis": (False, True),
    "active_charcot": (False, True),
    "high_falls_risk": (False, True),
    "cannot_attend_weekly": (False, True),
    "both_feet_ulcerated": (False, True),
}
#: Optional dangers: unasked is not known, so it is no gain to ask; their bad value only ever takes away.
FURTHER = {
    "ischaemia_settled": (True, False),
    **dict.fromkeys(
        (
            "dvt_suspected",
            "cavity",
            "nobody_to_notice",
            "claustrophobia",
            "ulcer_on_same_leg",
            "material_allergy",
            "over_weight_limit",
            "heavy_exudate",
            "fragile_skin",
            "poor_sight",
            "previous_device_not_tolerated",
        ),
        (False, True),
    ),
}
#: Answers that bring a device of their own: immobilisation of Charcot joints to the knee.
OWN_TREATMENT = {"active_charcot": {"walker_knee_high_removable"}}


def offered(facts):
    return {offer.id for offer in decide(facts).classes}


def urgencies(facts):
    return {referral.id: URGENCIES.index(referral.urgency) for referral in decide(facts).refer}


@settings(max_examples=EXAMPLES)
@given(any_facts)
def test_a_worse_danger_never_adds_an_offered_device_and_never_lowers_an_urgency(facts):
    for name, values in (DANGERS | FURTHER).items():
        for good, bad in itertools.pairwise(values):
            one = dataclasses.replace(facts, **{name: good})
            other = dataclasses.replace(facts, **{name: bad})
            assert offered(other) - offered(one) <= OWN_TREATMENT.get(name, set()), name
            now = urgencies(other)
            held = {h.id for h in decide(other).held_referrals}
            for referral, urgency in urgencies(one).items():
                # Surgery is held back by a danger, and says so; every other referral stays as pressing.
                assert referral in held or now[referral] <= urgency, (name, referral)


@settings(max_examples=EXAMPLES)
@given(any_facts)
def test_a_danger_not_known_never_offers_more_than_its_worst(facts):
    for name, values in DANGERS.items():
        unknown = dataclasses.replace(facts, **{name: None})
        assert offered(unknown) <= offered(dataclasses.replace(facts, **{name: values[-1]})), name


@settings(max_examples=EXAMPLES)
@given(any_facts)
def test_a_further_danger_not_asked_for_is_named_before_anything_is_closed(facts):
    """Where its worst would take a class that stays on away, the fact stands among those to ask for."""
    for name, values in FURTHER.items():
        unknown = dataclasses.replace(facts, **{name: None})
        more = offered(unknown) - offered(dataclasses.replace(facts, **{name: values[-1]}))
        if any(DEVICES[device].stays_on for device in more):
            assert name in unasked(unknown)
        assert name not in unasked(dataclasses.replace(unknown, **{name: values[0]}))


def test_what_is_asked_before_a_device_is_closed_is_read_from_the_rows():
    assert unasked(Facts()) == (
        "mobility",
        "previous_device_not_tolerated",
        "ischaemia_settled",
        "dvt_suspected",
        "cavity",
        "claustrophobia",
        "ulcer_on_same_leg",
        "over_weight_limit",
    )
    answered = dict.fromkeys(unasked(Facts()), False) | {"mobility": "walks", "ischaemia_settled": True}
    assert unasked(Facts(**answered)) == ()


@settings(max_examples=EXAMPLES)
@given(any_facts)
def test_there_is_always_something_to_choose_and_it_is_never_withheld(facts):
    advice = decide(facts)
    rest = [offer for offer in advice.classes if DEVICES[offer.id].is_rest]
    assert rest
    assert not {offer.id for offer in rest} & {w.id for w in advice.withheld}
    assert combine_limb("left", {"A": advice}).classes


@settings(max_examples=EXAMPLES)
@given(any_facts, any_facts)
def test_rest_that_is_always_there_never_outranks_a_device_on_a_limb(one, other):
    limb = combine_limb("left", {"A": decide(one), "B": decide(other)})
    later = [DEVICES[offer.id].is_rest and offer.tier > 1 for offer in limb.classes]
    assert later == sorted(later)


@pytest.mark.parametrize("name", ["previous_device_not_tolerated", "claustrophobia"])
@settings(max_examples=EXAMPLES)
@given(facts=any_facts)
def test_what_was_not_tolerated_moves_behind_what_can_be_taken_off(name, facts):
    advice = decide(dataclasses.replace(facts, **{name: True}))
    order = [offer.id for offer in advice.classes]
    tiers = {offer.id: offer.tier for offer in advice.classes}
    for stays_on in (n for n in order if DEVICES[n].stays_on):
        assert tiers[stays_on] >= 2
        second = [
            n
            for n in order
            if DEVICES[n].removable and tiers[n] <= tiers[stays_on] and not DEVICES[n].is_rest
        ]
        assert all(order.index(n) < order.index(stays_on) for n in second)


@settings(max_examples=EXAMPLES)
@given(any_facts, st.sampled_from(["region", "surface"]))
def test_with_the_site_not_known_rest_is_offered_and_called_interim(facts, name):
    advice = advice_json(decide(dataclasses.replace(facts, region=None, surface=None)))
    assert {"region", "surface"} <= set(advice["missing"])
    for offer in advice["classes"]:
        if DEVICES[offer["id"]].is_rest:
            assert any("Interim: region or surface is missing" in text for text in offer["cautions"])
    assert name in advice["missing"]


@pytest.mark.parametrize("name", [n for n, v in FURTHER.items() if v == (False, True)])
def test_each_further_danger_is_said_with_a_class_or_withholds_one(name):
    """Asked, it changes what is read: a caution, a reason to withhold, or the order."""
    plain = Facts(
        region="forefoot",
        surface="plantar",
        cause="neuropathic",
        infection_grade=1,
        osteomyelitis=False,
        ischaemia_grade=0,
        high_falls_risk=False,
        cannot_attend_weekly=False,
        both_feet_ulcerated=False,
        active_charcot=False,
        device_available=True,
    )
    assert advice_json(decide(dataclasses.replace(plain, **{name: True}))) != advice_json(decide(plain))
