"""Placing an imprint on the insole: by marks on the photo, or by typed numbers."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from clinic.capture.forms.trace import PointsField
from clinic.models import PlacedBy
from clinic.record.forms.dates import DayField

__all__ = ["PlaceForm", "TypedImprintForm"]


class ImprintForm(forms.Form):
    dressing_mm = forms.DecimalField(
        label="Dressing worn while it was taken (mm)",
        required=False,
        min_value=0,
        max_value=30,
        max_digits=3,
        decimal_places=1,
    )
    side_confirmed = forms.BooleanField(label="I looked again: side and lesion are right", required=False)
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
        help_text="Middle of the heel edge; front edge in line with the second toe; big toe. One a line.",
    )
    trace = forms.IntegerField(widget=forms.HiddenInput(attrs={"data-fresh": ""}))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("placed_by") == PlacedBy.LANDMARKS and "marks" not in self.errors:
            count = len(data.get("marks") or ())
            if count != 3:
                self.add_error("marks", f"Marks: {count} given; 3 are needed: heel, second toe, big toe.")
        return data


class TypedImprintForm(ImprintForm):
    taken_on = DayField(label="Taken on", initial=timezone.localdate)
    y_mm = forms.FloatField(label="From the heel edge (mm)", min_value=0, max_value=400)
    x_mm = forms.FloatField(
        label="From the long axis (mm)",
        min_value=-100,
        max_value=100,
        help_text="Towards the little toe positive, towards the big toe negative.",
    )
    length_mm = forms.FloatField(label="Length (mm)", min_value=1, max_value=120)
    width_mm = forms.FloatField(label="Width (mm)", min_value=1, max_value=120)
    angle_deg = forms.FloatField(
        label="Turned by (degrees)",
        min_value=-180,
        max_value=180,
        initial=0,
        help_text="0: its length lies heel to toe.",
    )
