"""Several wounds of one foot as one: what any forbids is forbidden, and none lifts another's danger."""

from dataclasses import replace
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.combine import combine_limb
from clinic.guidelines.devices import NON_REMOVABLE, URGENCIES
from clinic.guidelines.known_dangers import dangers
from clinic.guidelines.standing import facts_of, standing
from clinic.guidelines.standing_findings import LimbFindings, PerfusionFinding
from clinic.guidelines.standing_limb import together, under
from clinic.guidelines.table import decide
from tests.clinic.guidelines.standing_strategies import TODAY, any_findings, clean_look, good_findings

feet = st.lists(any_findings | good_findings, min_size=1, max_size=3).map(
    # One foot has one blood supply, whatever was found at its wounds.
    lambda found: [
        replace(
            found[0],
            infection=one.infection,
        )
        for one in found
    ]
)


def states_of(found):
    return {"ABC"[n]: standing(one, TODAY) for n, one in enumerate(found)}


def levels(state):
    return {danger.id: danger.level for danger in dangers(state)}


@given(feet)
def test_the_foot_is_allowed_what_every_wound_allows(found):
    states = states_of(found)
    whole = together(states)
    assert whole.non_removable_allowed == all(one.non_removable_allowed for one in states.values())
    assert whole.running_allowed == all(one.running_allowed for one in states.values())
    assert bool(whole.withheld_because) != whole.non_removable_allowed
    assert whole.fits_today <= all(one.fits_today for one in states.values())


@given(feet)
def test_no_danger_of_a_wound_is_lost_or_softened(found):
    states = states_of(found)
    whole = levels(together(states))
    for state in states.values():
        for name, level in levels(state).items():
            assert whole[name] >= level
    now = {row.id: URGENCIES.index(row.urgency) for row in together(states).refer}
    for state in states.values():
        assert all(now[row.id] <= URGENCIES.index(row.urgency) for row in state.refer)


@given(feet)
def test_the_order_of_the_wounds_does_not_matter(found):
    states = states_of(found)
    turned = dict(reversed(list(states.items())))
    one, two = together(states), together(turned)
    assert (one.infection.grade, one.infection.bone, one.infection.on) == (
        two.infection.grade,
        two.infection.bone,
        two.infection.on,
    )
    assert set(one.withheld_because) == set(two.withheld_because)


@given(any_findings, st.lists(clean_look, max_size=3))
def test_clean_looks_at_another_wound_lift_nothing(found, looks):
    alone = standing(found, TODAY)
    other = standing(replace(found, infection=tuple(looks)), TODAY)
    whole = together({"A": alone, "B": other})
    assert whole.non_removable_allowed <= alone.non_removable_allowed
    assert levels(whole).items() >= {k: v for k, v in levels(alone).items() if k not in levels(other)}.items()


@given(feet)
def test_the_advice_under_it_offers_nothing_that_stays_on_unless_allowed(found):
    states = states_of(found)
    plain = combine_limb(
        "left", {label: decide(facts_of(s.ischaemia, s.infection)) for label, s in states.items()}
    )
    advice = under(plain, states)
    offered = {offer.id for offer in advice.classes}
    assert offered <= {offer.id for offer in plain.classes}
    if not together(states).non_removable_allowed:
        assert not offered & NON_REMOVABLE
        assert {row.id for row in advice.withheld} >= NON_REMOVABLE
    assert len({row.id for row in advice.refer}) == len(advice.refer)
    urgencies = [URGENCIES.index(row.urgency) for row in advice.refer]
    assert urgencies == sorted(urgencies)
    before = {row.id: URGENCIES.index(row.urgency) for row in plain.refer}
    now = {row.id: URGENCIES.index(row.urgency) for row in advice.refer}
    assert all(now[name] <= urgent for name, urgent in before.items())


def test_a_value_that_only_ran_out_lets_a_running_device_go_on_and_one_found_bad_since_does_not():
    look = clean_look.map(lambda one: replace(one, on=TODAY))
    old = PerfusionFinding(TODAY - timedelta(days=100), toe_pressure_mmhg=75)

    @given(look)
    def law(clean):
        aged = standing(LimbFindings((old,), (clean,)), TODAY)
        assert (aged.non_removable_allowed, aged.running_allowed, aged.refits_today) == (False, True, True)
        cold = PerfusionFinding(TODAY, newly_cold=True)
        assert not standing(LimbFindings((old, cold), (clean,)), TODAY).running_allowed
        after = standing(LimbFindings((old,), (clean,), (TODAY - timedelta(days=50),)), TODAY)
        assert not after.running_allowed

    law()


@given(any_findings)
def test_what_may_be_chosen_may_go_on(found):
    state = standing(found, TODAY)
    assert state.running_allowed >= state.non_removable_allowed
