"""What may be typed about a foot."""

import pytest

from clinic.models import LimbFinding
from clinic.people.forms.limbs import FINDING_GROUPS, FindingForm, LimbForm


def test_the_page_asks_every_finding_of_the_record_once():
    kept = {"id", "limb", "found_on", "note", "version", "created_at", "created_by"}
    recorded = {field.name for field in LimbFinding._meta.concrete_fields} - kept
    asked = [name for names in FINDING_GROUPS.values() for name in names]
    assert sorted(asked) == sorted(recorded)


def test_no_finding_is_prefilled():
    form = FindingForm()
    assert not [field.name for field in form if field.value()]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("toe_pressure_mmhg", "251", "between 0 and 250 mmHg"),
        ("ankle_index", "3.01", "between 0 and 3"),
        ("calf_girth_mm", "149", "between 150 and 800 mm"),
    ],
)
def test_a_finding_out_of_bounds_names_the_limits(name, value, words):
    form = FindingForm({"found_on": "2026-01-05", name: value})
    assert words in form.errors[name][0]


@pytest.mark.parametrize(
    ("length", "good"), [("119.9", False), ("120", True), ("350", True), ("350.1", False)]
)
def test_a_foot_length_lies_between_120_and_350_mm(length, good):
    form = LimbForm({"foot_length_mm": length, "amputation": "none", "version": 1})
    assert form.is_valid() is good
