"""Cautions and red flags as data."""

import pytest

from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, most_urgent
from clinic.guidelines.facts import parse
from clinic.guidelines.red_flags import RED_FLAGS
from clinic.guidelines.table import decide
from tests.clinic.guidelines.cases import CASES, PLAIN


def test_ids_are_unique_and_everything_has_words_and_a_source():
    for things in (CAUTIONS, RED_FLAGS):
        assert len({thing.id for thing in things}) == len(things)
        assert all(thing.source for thing in things)
    assert all(caution.text.endswith(".") for caution in CAUTIONS)
    assert all(set(caution.classes) <= set(DEVICES) for caution in CAUTIONS)


def test_what_has_no_source_says_so_wherever_it_is_read():
    web = {**PLAIN, "region": "lesser_toe", "surface": "interdigital", "heavy_exudate": True}
    spacer = next(w for w in decide(parse(web)).withheld if w.id == "toe_spacer")
    assert spacer.because == "No spacer into a wet web space (common practice)."
    unmarked = [c.id for c in CAUTIONS if "no source" in c.source and "(common practice)" not in c.said]
    assert unmarked == []
    assert not any("(common practice)" in c.said for c in CAUTIONS if "no source" not in c.source)


def test_red_flags_are_urgent_and_suspected_charcot_is_offloaded_today():
    urgencies = {flag.id: flag.urgency for flag in RED_FLAGS}
    assert urgencies.pop("suspected_charcot") == "one_working_day"
    # In a well foot: a podiatrist by the end of the day's hours.
    assert urgencies.pop("new_probe_to_bone") == "one_working_day"
    assert set(urgencies.values()) == {"immediate"}
    assert [flag.id for flag in RED_FLAGS if flag.offload_today] == ["suspected_charcot"]


def test_flags_without_a_source_say_they_are_practice():
    practice = {flag.id for flag in RED_FLAGS if "no source" in flag.source}
    assert practice == {"calf_pain_or_swelling", "breathlessness", "new_probe_to_bone"}


def test_exactly_two_classes_stay_on():
    assert {"total_contact_cast", "walker_non_removable"} == NON_REMOVABLE


def test_the_most_pressing_urgency_wins():
    assert most_urgent("planned", "immediate", "one_working_day") == "immediate"


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.id)
def test_each_caution_is_shown_in_some_case_and_only_with_its_classes(caution):
    further = [
        {**PLAIN, **change}
        for change in (
            {"fragile_skin": True},
            {"poor_sight": True},
            {"recent_surgery_weeks": 2},
            {"bulky_calf": None},
            {"needs_frequent_dressing": None},
            {"region": "rearfoot", "surface": "posterior", "mobility": "walks"},
        )
    ]
    shown = 0
    for facts in [*(case.facts for case in CASES), *further]:
        for offer in decide(parse(facts)).classes:
            if caution.said in offer.cautions:
                shown += 1
                assert offer.id in caution.classes
    assert shown
