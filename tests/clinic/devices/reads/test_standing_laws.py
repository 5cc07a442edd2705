"""Laws of the standing rules through the rows themselves: what is stored, read and advised."""

from datetime import timedelta

from django.utils import timezone
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinic.devices.reads.advice import limb_decision
from clinic.evidence.reads.standing import standing_of
from clinic.guidelines.devices import NON_REMOVABLE, URGENCIES
from tests import factories, feet

TODAY = timezone.localdate
ages = st.sampled_from([0, 1, 2, 3, 6, 7, 8, 20, 89, 90, 91, 181, 400])
#: Findings of a foot, from good to bad, each as columns of one row.
good_blood = st.sampled_from(
    [{"toe_pressure_mmhg": 75}, {"toe_pressure_mmhg": 62}, {"tcpo2_mmhg": 65}, {"waveform": "triphasic"}]
)
bad_blood = st.sampled_from(
    [
        {"toe_pressure_mmhg": 35},
        {"toe_pressure_mmhg": 22},
        {"tcpo2_mmhg": 24},
        {"ankle_index": "0.35"},
        {"ankle_pressure_mmhg": 45},
        {"waveform": "absent"},
        {"newly_cold": True},
        {"rest_pain": True},
        {"dead_tissue": True},
        {"newly_lost_pulse": True},
        {"dvt_suspected": True},
    ]
)
bad_look = st.sampled_from(
    [
        {"infection_signs": ["warmth", "pus"], "deep_infection": False},
        {"infection_signs": ["redness", "pus"], "redness_mm": 30},
        {"infection_signs": [], "deep_infection": True},
        {"infection_signs": ["pus", "warmth"], "probe_to_bone": True},
        {"probe_to_bone": True, "depth": "bone"},
        {"unwell": True},
    ]
)
# Half of the feet are good ones, so that there is something to lose.
blood = st.just([(1, {"toe_pressure_mmhg": 75})]) | st.lists(
    st.tuples(ages, good_blood | bad_blood), max_size=3
)
looks = st.just([(2, {})]) | st.lists(
    st.tuples(ages, st.just({}) | bad_look), max_size=3, unique_by=lambda pair: pair[0]
)
examples = settings(max_examples=40)


def foot(site, blood, looks):
    """A foot with one ulcer and these rows."""
    person = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=person))
    person.circumstances.create(
        asked_on=TODAY(),
        mobility="walks",
        high_falls_risk=False,
        cannot_attend_weekly=False,
        created_by=factories.author(),
    )
    factories.finding(of=lesion.limb, charcot="none", deformity="small", bulky_calf=False)
    for age, found in blood:
        factories.finding(of=lesion.limb, found_on=TODAY() - timedelta(days=age), **found)
    for age, found in looks:
        visit = factories.visit(of=person, on=TODAY() - timedelta(days=age))
        factories.measurement(at=visit, of=lesion, **{**feet.CLEAN_LOOK, **found})
    return lesion


def advised(lesion):
    told = {"needs_frequent_dressing": False, "device_available": True, "non_surgical_care_failed": False}
    return limb_decision(lesion.limb, TODAY(), told)


def stays_on(decision):
    return {offer.id for offer in decision.advice.classes} & NON_REMOVABLE


def urgency(decision):
    teams = ("vascular_assessment", "infection_assessment", "charcot_assessment")
    return {row["id"]: URGENCIES.index(row["urgency"]) for row in decision.refer if row["id"] in teams}


def test_a_bad_finding_more_never_offers_more_and_never_hurries_less(site):
    seen = {"lost": 0, "hurried": 0}

    @examples
    @given(blood, looks, ages, bad_blood | bad_look)
    def law(blood, looks, age, bad):
        # The same measurement, taken later and better, answers a worse one: that is no finding more.
        toe = bad.get("toe_pressure_mmhg", 0)
        assume(all(found.get("toe_pressure_mmhg", toe) >= toe for _, found in blood))
        when = TODAY() - timedelta(days=age)
        look = bool({"infection_signs", "probe_to_bone", "unwell"} & set(bad))
        # A look answers much at once: the same look with a bad finding is held against the clean one.
        others = [pair for pair in looks if pair[0] != age] + ([(age, {})] if look else [])
        lesion = foot(site, blood, others)
        before = advised(lesion)
        if look:
            lesion.measurements.filter(visit__visited_on=when).update(**bad)
        else:
            factories.finding(of=lesion.limb, found_on=when, **bad)
        after = advised(lesion)
        assert stays_on(after) <= stays_on(before)
        assert set(after.foot.worst.override_barred) >= set(before.foot.worst.override_barred)
        now = urgency(after)
        for team, urgent in urgency(before).items():
            assert team in now
            assert now[team] <= urgent
        seen["lost"] += stays_on(after) < stays_on(before)
        seen["hurried"] += now != urgency(before)

    law()
    assert min(seen.values()) > 0, seen


def test_ageing_a_bad_finding_changes_nothing_but_its_date(site):
    @examples
    @given(bad_blood | bad_look, ages, ages)
    def law(bad, age, other):
        states = []
        for days in (age, other):
            look = bool({"infection_signs", "probe_to_bone", "unwell"} & set(bad))
            lesion = foot(site, [] if look else [(days, bad)], [(days, bad)] if look else [])
            states.append(standing_of(lesion.limb, TODAY()))
        one, two = states
        assert [(d.id, d.level, d.forbids) for d in one.dangers] == [
            (d.id, d.level, d.forbids) for d in two.dangers
        ]
        assert one.dangers
        assert one.worst.ischaemia.grade == two.worst.ischaemia.grade
        assert not one.worst.non_removable_allowed
        assert not two.worst.non_removable_allowed

    law()


def test_a_foot_on_which_everything_good_is_known_is_allowed_what_stays_on(site):
    """So that the laws above are put to the test at all."""
    lesion = foot(site, [(0, {"toe_pressure_mmhg": 75})], [(0, {})])
    assert stays_on(advised(lesion))
