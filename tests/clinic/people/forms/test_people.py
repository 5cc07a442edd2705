"""What may be typed about a person, and how a fault reads."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django import forms
from django.utils import timezone

from clinic.people.forms.people import CircumstancesForm, WeightForm
from clinic.record.forms.conflict import differences
from clinic.record.forms.entries import NumberField, PastDayField, YesNoField, last_words


class OneOfEach(forms.Form):
    kg = NumberField(label="Weight", low=20, high=300, places=1, unit="kg", required=False)
    day = PastDayField(label="Weighed on", required=False)
    fall = YesNoField(label="Fell")
    version = forms.IntegerField(required=False)


@pytest.mark.parametrize("kg", ["19.9", "300.1"])
def test_a_number_out_of_bounds_names_field_value_and_limits(kg):
    form = OneOfEach({"kg": kg})
    assert form.errors["kg"] == [f"Weight was given as {kg} kg; it must be between 20 and 300 kg."]


@pytest.mark.parametrize("kg", ["20", "300", "82.5"])
def test_a_number_at_or_within_the_bounds_is_taken(kg):
    form = OneOfEach({"kg": kg})
    assert form.is_valid()
    assert form.cleaned_data["kg"] == Decimal(kg)


def test_not_a_number_is_no_number():
    assert not OneOfEach({"kg": "NaN"}).is_valid()


def test_a_future_day_is_refused_with_the_latest_possible():
    tomorrow = timezone.localdate() + timedelta(days=1)
    assert "the latest possible is today" in OneOfEach({"day": tomorrow.isoformat()}).errors["day"][0]
    assert OneOfEach({"day": timezone.localdate().isoformat()}).is_valid()


@pytest.mark.parametrize(("typed", "value"), [("yes", True), ("no", False), ("", None), (None, None)])
def test_yes_no_and_left_alone_are_three_answers(typed, value):
    form = OneOfEach({} if typed is None else {"fall": typed})
    assert form.is_valid()
    assert form.cleaned_data["fall"] is value


def test_nothing_is_chosen_for_anybody():
    form = CircumstancesForm()
    for name in CircumstancesForm.ANSWERS:
        assert not form[name].value()


def test_a_weight_says_how_it_was_taken():
    form = WeightForm({"kg": "82", "measured_on": timezone.localdate().isoformat()})
    assert list(form.errors) == ["how"]


def test_a_conflict_lists_only_what_differs_and_takes_the_new_version():
    form = OneOfEach({"kg": "82", "day": "2026-01-05", "fall": "no", "version": "1"})
    assert form.is_valid()
    found = differences(
        form, {"kg": Decimal("81.0"), "day": date(2026, 1, 5), "fall": None, "version": 1}, version=4
    )
    assert [(one.label, one.in_record, one.typed) for one in found] == [
        ("Weight (kg)", "81.0", "82.0"),
        ("Fell", "empty", "No"),
    ]
    assert form["version"].value() == "4"


def test_the_last_value_is_escaped():
    assert "<script>" not in last_words("<script>", date(2026, 1, 5))
