"""What is done with a signed plan: cut, fitted, contact check, measured in the shoe."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import NumberField
from offload.core.plan.contact import METHODS, PLACES, RESULTS
from offload.core.plan.target import FOOTWEAR_FIGURES, TARGETS
from offload.core.pressure.measured import HIGHEST_KPA

__all__ = ["ContactCheckForm", "CutStepForm", "FitStepForm", "MeasuredForm", "SetAsideForm"]

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
    """What the check showed. Nothing is chosen for anybody; the labels are those of the plan's ulcers."""

    method = forms.ChoiceField(label="Seen with", choices=list(METHODS.items()), widget=forms.RadioSelect)
    dummy_marked = forms.TypedChoiceField(
        label="Dummy first: the piece put back into the opening",
        choices=[("yes", "It left its mark"), ("no", "It left no mark"), ("none", "Not tried")],
        coerce=lambda value: {"yes": True, "no": False}.get(value),
        empty_value=None,
        widget=forms.RadioSelect,
    )
    found = forms.ChoiceField(
        label="Then, with the opening empty", choices=list(RESULTS.items()), widget=forms.RadioSelect
    )
    where = forms.MultipleChoiceField(
        label="Where a mark lies", required=False, widget=forms.CheckboxSelectMultiple
    )
    field_order = ("method", "dummy_marked", "found", "where")

    def __init__(self, *args: Any, labels: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        where: Any = self.fields["where"]
        where.choices = [
            (f"{label}:{place}", f"Ulcer {label}: {words}")
            for label in labels
            for place, (words, _) in PLACES.items()
        ]


class SetAsideForm(forms.Form):
    ended_on = DayField(label="On")
    because = forms.CharField(label="Why, and what this foot is treated by", max_length=200)


class MeasuredForm(forms.Form):
    """Peaks at one lesion, typed."""

    label = forms.ChoiceField(label="Ulcer")
    measured_on = DayField(label="Measured on")
    without_kpa = NumberField(
        label="Peak at the ulcer without the cut",
        low=1,
        high=HIGHEST_KPA,
        places=1,
        unit="kPa",
        required=False,
    )
    with_kpa = NumberField(
        label="Peak at the ulcer with the cut", low=0, high=HIGHEST_KPA, places=1, unit="kPa", required=False
    )
    target_kind = forms.ChoiceField(
        label="Target asked of the cut",
        choices=[("", "Choose"), *TARGETS.items()],
        help_text=FOOTWEAR_FIGURES,
    )
    target = NumberField(label="Target", low=0, high=HIGHEST_KPA, places=1, required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args: Any, labels: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        label_field: Any = self.fields["label"]
        label_field.choices = [(label, f"Ulcer {label}") for label in labels]
