"""What is done with a signed plan: cut, fitted, contact check, measured in the shoe."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import NumberField
from offload.core.pressure.measured import HIGHEST_KPA

__all__ = ["ContactCheckForm", "CutStepForm", "FitStepForm", "MeasuredForm"]

SIDES = [("", "Choose"), ("left", "Left"), ("right", "Right")]


class DoneForm(forms.Form):
    done_on = DayField(label="Done on")
    note = forms.CharField(label="Note", max_length=200, required=False)


class SheetForm(DoneForm):
    """Code and side are typed from what is in the hand, never shown beside their fields."""

    code = forms.CharField(
        label="Code, read from the sheet or insole",
        max_length=12,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    side = forms.ChoiceField(label="Side, read from the sheet or insole", choices=SIDES)
    field_order: tuple[str, ...] = ("code", "side")


class CutStepForm(SheetForm):
    bar_mm = NumberField(label="Measured 100 mm bar of this sheet", low=50, high=150, places=1, unit="mm")
    depth_mm = NumberField(label="Depth measured at its shallowest", low=0, high=60, places=1, unit="mm")
    field_order = ("code", "side", "bar_mm", "depth_mm")


class FitStepForm(SheetForm):
    pass


class ContactCheckForm(DoneForm):
    touches = forms.TypedChoiceField(
        label="After a few steps on the marked lesion",
        choices=[
            ("no", "No contact: the floor of the opening is clean"),
            ("yes", "Contact: the mark is on the floor"),
        ],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    field_order = ("touches",)


class MeasuredForm(forms.Form):
    """Peaks at one lesion, typed."""

    label = forms.ChoiceField(label="Lesion")
    measured_on = DayField(label="Measured on")
    without_kpa = NumberField(
        label="Peak at the lesion without the cut",
        low=1,
        high=HIGHEST_KPA,
        places=1,
        unit="kPa",
        required=False,
    )
    with_kpa = NumberField(
        label="Peak at the lesion with the cut", low=0, high=HIGHEST_KPA, places=1, unit="kPa", required=False
    )
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args: Any, labels: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        label_field: Any = self.fields["label"]
        label_field.choices = [(label, f"Lesion {label}") for label in labels]
