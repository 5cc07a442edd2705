"""A reported value is believed between its bounds, in its unit; a report in words has words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.errors import GuidelineError
from clinic.guidelines.results import RESULT_KINDS, value_fault

NUMBERS = [kind for kind in RESULT_KINDS.values() if kind.numeric]
WORDS = [kind for kind in RESULT_KINDS.values() if not kind.numeric]


@pytest.mark.parametrize("kind", NUMBERS, ids=lambda kind: kind.id)
@given(st.floats(-1000, 10000))
def test_a_value_is_refused_exactly_outside_its_bounds_and_the_fault_names_all(kind, value):
    fault = value_fault(kind.id, value, "")
    assert bool(fault) == (not kind.low <= value <= kind.high)
    if fault:
        assert kind.label in fault
        assert f"{value:g}" in fault
        assert f"{kind.low:g}" in fault
        assert f"{kind.high:g} {kind.unit}" in fault


@pytest.mark.parametrize("kind", WORDS, ids=lambda kind: kind.id)
def test_a_report_in_words_takes_no_number_and_needs_its_words(kind):
    assert value_fault(kind.id, None, "no fracture") == ""
    assert "words" in value_fault(kind.id, None, "  ")
    assert "report is words" in value_fault(kind.id, 5, "no fracture")


@pytest.mark.parametrize(("kind", "other_unit"), [("hba1c", (3.0, 20.0)), ("albumin", (1.0, 7.0))])
def test_a_value_in_another_common_unit_is_refused(kind, other_unit):
    assert all(value_fault(kind, value, "") for value in other_unit)


@pytest.mark.parametrize("kind", NUMBERS, ids=lambda kind: kind.id)
def test_a_number_may_be_told_in_words_but_not_left_out(kind):
    assert value_fault(kind.id, None, "haemolysed, again") == ""
    assert value_fault(kind.id, None, "")


def test_an_unknown_test_is_an_error():
    with pytest.raises(GuidelineError, match="'ct' is not one of"):
        value_fault("ct", None, "words")
