"""Reading facts strictly."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.guidelines.errors import FactsError
from clinic.guidelines.facts import FIRST_GROUP, OPTIONAL, Facts, parse

ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=5,
)


def test_nothing_given_is_everything_missing():
    assert parse({}) == Facts()
    assert len(FIRST_GROUP) == 18
    assert len(OPTIONAL) == 16


def test_null_is_missing_in_both_groups():
    assert parse(dict.fromkeys((*FIRST_GROUP, *OPTIONAL))) == Facts()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("region", "heel", "region is 'heel', must be one of forefoot, midfoot"),
        ("region", 3, "region is 3"),
        ("region", ["forefoot"], "region is"),
        ("surface", "Plantar", "surface is 'Plantar'"),
        ("cause", True, "cause is True"),
        ("infection_grade", 0, "infection_grade is 0, must lie from 1 to 4"),
        ("infection_grade", 5, "infection_grade is 5, must lie from 1 to 4"),
        ("infection_grade", 2.0, "infection_grade is 2.0, must be a whole number from 1 to 4"),
        ("infection_grade", True, "infection_grade is True, must be a whole number"),
        ("infection_grade", "2", "infection_grade is '2'"),
        ("ischaemia_grade", -1, "ischaemia_grade is -1, must lie from 0 to 3"),
        ("ischaemia_grade", 4, "ischaemia_grade is 4, must lie from 0 to 3"),
        ("osteomyelitis", 0, "osteomyelitis is 0, must be true, false or null"),
        ("device_available", "yes", "device_available is 'yes'"),
        ("mobility", "runs", "mobility is 'runs', must be one of walks"),
        ("recent_surgery_weeks", -0.1, "recent_surgery_weeks is -0.1, must lie from 0 to 520"),
        ("recent_surgery_weeks", 521, "recent_surgery_weeks is 521, must lie from 0 to 520"),
        ("recent_surgery_weeks", math.nan, "recent_surgery_weeks is nan"),
        ("recent_surgery_weeks", True, "recent_surgery_weeks is True"),
        ("weight", 80, "'weight' is no finding the rules know"),
    ],
)
def test_one_fault_is_one_sentence_with_field_value_and_limit(name, value, words):
    with pytest.raises(FactsError) as caught:
        parse({name: value})
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].startswith(words)


def test_all_faults_come_together():
    with pytest.raises(FactsError) as caught:
        parse({"region": "ear", "infection_grade": 9, "colour": "red"})
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize("given_", [None, [], "facts", 3])
def test_anything_but_an_object_is_refused(given_):
    with pytest.raises(FactsError, match="must be one JSON object"):
        parse(given_)


def faults_of(data):
    try:
        parse(data)
    except FactsError as error:
        return error.faults
    return ()


@settings(max_examples=60)
@given(
    st.dictionaries(st.sampled_from((*FIRST_GROUP, *OPTIONAL)) | st.text(max_size=9), ANY_JSON, max_size=6)
)
def test_anything_is_either_read_or_refused_with_a_sentence_for_each_fault(data):
    faults = faults_of(data)
    assert len(faults) <= len(data)
    sound = {name: value for name, value in data.items() if not faults_of({name: value})}
    assert len(sound) == len(data) - len(faults)
    facts = parse(sound)
    assert all(getattr(facts, name) == value for name, value in sound.items())


@pytest.mark.parametrize("weeks", [0, 520, 5.5])
def test_weeks_since_surgery_may_touch_their_limits(weeks):
    assert parse({"recent_surgery_weeks": weeks}).recent_surgery_weeks == weeks
