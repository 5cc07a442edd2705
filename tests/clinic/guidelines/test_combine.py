"""From lesions to limb to person."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.combine import ONE_SIDE_ONLY, SECOND_STAYS_ON, combine_limb, combine_person
from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.errors import GuidelineError
from clinic.guidelines.facts import parse
from clinic.guidelines.table import decide, tightened
from tests.clinic.guidelines.cases import PLAIN
from tests.clinic.guidelines.strategies import any_facts


def advise(**changes):
    return decide(parse({**PLAIN, **changes}))


def ids(things):
    return [thing.id for thing in things]


def test_two_plantar_lesions_on_one_foot_take_the_stricter_answer():
    limb = combine_limb("left", {"A": advise(), "B": advise(infection_grade=3)})
    assert ids(limb.classes) == [
        "walker_knee_high_removable",
        "ankle_high_removable",
        "rest_and_walking_aid",
    ]
    cast = next(w for w in limb.withheld if w.id == "total_contact_cast")
    assert cast.decided_by == ("B",)
    assert cast.because.startswith("Ulcer B: ")
    assert ids(limb.refer) == ["infection_assessment"]
    assert limb.refer[0].decided_by == ("B",)


def test_forefoot_and_heel_on_one_foot_rank_by_the_worst_tier_and_name_the_lesion():
    limb = combine_limb("left", {"A": advise(), "B": advise(region="rearfoot")})
    both = {offer.id: offer for offer in limb.classes}
    assert ids(limb.classes)[:2] == ["total_contact_cast", "walker_non_removable"]
    assert both["walker_knee_high_removable"].tier == 2
    assert both["heel_relieving_knee_high"].leaves == ("A",)
    *devices, rest = limb.classes
    assert rest.id == "rest_and_walking_aid"
    ranks = [(len(offer.leaves), offer.tier) for offer in devices]
    assert ranks == sorted(ranks)


def test_a_tier_that_differs_is_decided_by_the_lesion_with_the_worse_one():
    limb = combine_limb("left", {"A": advise(surface="medial"), "B": advise()})
    ankle = next(offer for offer in limb.classes if offer.id == "ankle_high_removable")
    assert (ankle.tier, ankle.decided_by, ankle.serves) == (2, "B", ("A", "B"))


def test_one_plantar_and_one_web_space_lesion_get_a_device_and_a_spacer_but_no_footwear_alone():
    limb = combine_limb(
        "right",
        {"A": advise(), "B": advise(region="lesser_toe", surface="interdigital", heavy_exudate=False)},
    )
    assert "toe_spacer" in ids(limb.classes)
    assert "walker_knee_high_removable" in ids(limb.classes)
    withheld = {w.id: w for w in limb.withheld}
    assert withheld["total_contact_cast"].decided_by == ("B",)
    assert withheld["footwear_modification"].decided_by == ("A",)
    assert not limb.notes


def test_a_lesion_that_no_allowed_class_serves_is_named():
    limb = combine_limb(
        "right", {"A": advise(), "B": advise(region="lesser_toe", surface="interdigital", infection_grade=2)}
    )
    assert limb.notes == ("Ulcer B is served by no device allowed on this limb.",)


def test_a_fact_missing_for_one_lesion_is_missing_for_the_limb():
    limb = combine_limb("left", {"A": advise(), "B": advise(osteomyelitis=None)})
    assert limb.missing == ("osteomyelitis",)
    assert not NON_REMOVABLE & set(ids(limb.classes))


def test_the_same_referral_from_two_lesions_keeps_the_more_pressing_urgency():
    limb = combine_limb("left", {"A": advise(infection_grade=2), "B": advise(infection_grade=4)})
    infection = next(r for r in limb.refer if r.id == "infection_assessment")
    assert (infection.urgency, infection.decided_by) == ("immediate", ("A", "B"))


def test_both_feet_may_have_one_device_that_stays_on_and_not_two():
    left = combine_limb("left", {"A": advise(both_feet_ulcerated=True)})
    right = combine_limb("right", {"B": advise(both_feet_ulcerated=True)})
    open_choice = combine_person([left, right])
    assert open_choice.notes == (ONE_SIDE_ONLY,)
    chosen = combine_person([left, right], worn_or_chosen={"left": "total_contact_cast"})
    assert chosen.limbs[0] == left
    assert not NON_REMOVABLE & set(ids(chosen.limbs[1].classes))
    second = {w.id: w for w in chosen.limbs[1].withheld}
    assert second["walker_non_removable"].because == SECOND_STAYS_ON
    assert second["walker_non_removable"].decided_by == ()
    assert "raise the lift under the right shoe" in chosen.limbs[1].notes[0]


def test_two_devices_that_stay_on_are_called_out():
    limbs = [combine_limb("left", {"A": advise()}), combine_limb("right", {"B": advise()})]
    worn = {"left": "total_contact_cast", "right": "walker_non_removable"}
    assert any("only one may" in note for note in combine_person(limbs, worn_or_chosen=worn).notes)


def test_a_knee_high_device_asks_for_a_lift_under_a_foot_without_a_lesion():
    person = combine_person(
        [combine_limb("left", {"A": advise()})], worn_or_chosen={"left": "walker_knee_high_removable"}
    )
    assert "raise the lift under the right shoe" in person.notes[0]
    assert not combine_person(
        [combine_limb("left", {"A": advise()})], worn_or_chosen={"left": "ankle_high_removable"}
    ).notes


def test_a_removable_device_on_the_other_leg_withholds_nothing():
    left = combine_limb("left", {"A": advise()})
    person = combine_person([left], worn_or_chosen={"right": "walker_knee_high_removable"})
    assert person.limbs[0].classes == left.classes


@given(st.lists(any_facts, min_size=1, max_size=3))
def test_a_limb_never_allows_what_one_of_its_lesions_withholds(lesions):
    advices = {chr(65 + i): decide(facts) for i, facts in enumerate(lesions)}
    limb = combine_limb("left", advices)
    refused = {w.id for advice in advices.values() for w in advice.withheld}
    allowed = set(ids(limb.classes))
    assert not allowed & refused
    assert {w.id for w in limb.withheld} == refused
    offered = {offer.id for advice in advices.values() for offer in advice.classes}
    assert allowed == offered - refused
    for offer in limb.classes:
        tiers = {label: o.tier for label, a in advices.items() for o in a.classes if o.id == offer.id}
        assert offer.tier == max(tiers.values()) == tiers[offer.decided_by]


def test_a_derived_reason_and_a_held_referral_reach_the_limb():
    heel = combine_limb("left", {"A": advise(region="rearfoot")})
    assert heel.classes[0].cautions[0].startswith("Derived: Heel")
    toe = combine_limb(
        "left",
        {"A": advise(region="lesser_toe", surface="apex", flexible_toe_deformity=True, infection_grade=2)},
    )
    assert toe.notes == ("Ulcer A, not referred: Flexor tenotomy is not offered with infection.",)


def test_a_site_may_tighten_a_referral_and_never_loosen_it():
    limb = combine_limb("left", {"A": advise(infection_grade=2, ischaemia_grade=1)})
    before = {r.id: r.urgency for r in limb.refer}
    assert before == {"infection_assessment": "one_working_day", "vascular_assessment": "planned"}
    site = {"infection_assessment": "planned", "vascular_assessment": "immediate"}
    after = tightened(limb.refer, site)
    assert [(r.id, r.urgency) for r in after] == [
        ("vascular_assessment", "immediate"),
        ("infection_assessment", "one_working_day"),
    ]
    assert tightened(advise(infection_grade=4).refer, {}) == advise(infection_grade=4).refer
    with pytest.raises(GuidelineError, match="names doctor"):
        tightened(limb.refer, {"doctor": "immediate"})
    with pytest.raises(GuidelineError, match="is soon, must be one of"):
        tightened(limb.refer, {"vascular_assessment": "soon"})


def test_one_lesion_alone_keeps_its_own_answer():
    advice = advise(infection_grade=2)
    limb = combine_limb("left", {"A": advice})
    assert ids(limb.classes) == ids(advice.classes)
    assert ids(limb.refer) == ids(advice.refer)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: combine_limb("left", {}), "ulcers of the left limb are none"),
        (lambda: combine_limb("third", {"A": advise()}), "limb is third, must be left or right"),
        (
            lambda: combine_limb(
                "left", {"A": advise(), "B": dataclasses.replace(advise(), edition="older")}
            ),
            "must be one",
        ),
        (lambda: combine_person([combine_limb("left", {"A": advise()})] * 2), "each must stand once"),
        (lambda: combine_person([], worn_or_chosen={"left": "slipper"}), "names class slipper"),
        (lambda: combine_person([], worn_or_chosen={"tail": "toe_spacer"}), "names limb tail"),
    ],
)
def test_what_cannot_be_combined_is_refused(call, words):
    with pytest.raises(GuidelineError, match=words):
        call()
