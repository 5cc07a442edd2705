"""Placing an imprint on the insole: by marks on the photo, or by typed numbers."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from clinic.capture.forms.trace import PointsField
from clinic.models import PlacedBy
from clinic.record.forms.dates import DayField
from clinic.record.forms.numbers import NumberField

__all__ = ["PlaceForm", "TypedImprintForm"]


class ImprintForm(forms.Form):
    dressing_mm = NumberField(
        label="Dressing worn while it was taken", low=0, high=30, places=1, unit="mm", required=False
    )
    side_confirmed = forms.BooleanField(label="I looked again: side and ulcer are right", required=False)
    note = forms.CharField(label="Note", required=False, max_length=200)

    @property
    def asks_side(self) -> bool:
        """Whether the doubt about the side is shown with its tick."""
        return bool(self.errors.get("side_confirmed")) or bool(self.data.get("side_confirmed"))


class PlaceForm(ImprintForm):
    placed_by = forms.ChoiceField(label="Place it", choices=PlacedBy.choices, widget=forms.RadioSelect)
    marks = PointsField(
        label="Marks (mm in the photo)",
        required=False,
        help_text="Middle of the heel edge; front edge in line with the second toe; big toe. Of a "
        "printed sheet: hole nearer the heel; hole nearer the toes; big toe. One a line.",
    )
    #: What lies where it was looked at: kept only after the insole was seen over the photo.
    looked = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    trace = forms.IntegerField(widget=forms.HiddenInput(attrs={"data-fresh": ""}))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        needed = {
            PlacedBy.LANDMARKS: "heel, second toe, big toe",
            PlacedBy.HOLES: "the hole nearer the heel, the hole nearer the toes, big toe",
        }.get(data.get("placed_by", ""))
        if needed and "marks" not in self.errors:
            count = len(data.get("marks") or ())
            if count != 3:
                self.add_error("marks", f"Marks: {count} given; 3 are needed: {needed}.")
        return data


def _place(label: str, low: int, high: int, unit: str = "mm", **more: Any) -> NumberField:
    return NumberField(label=label, low=low, high=high, places=2, unit=unit, kind=float, **more)


class TypedImprintForm(ImprintForm):
    taken_on = DayField(label="Taken on", initial=timezone.localdate)
    y_mm = _place("From the heel edge", 0, 400)
    x_mm = _place(
        "From the long axis",
        -100,
        100,
        help_text="Towards the little toe positive, towards the big toe negative.",
    )
    length_mm = _place("Length", 1, 120)
    width_mm = _place("Width", 1, 120)
    angle_deg = _place(
        "Turned by", -180, 180, unit="degrees", initial=0, help_text="0: its length lies heel to toe."
    )
