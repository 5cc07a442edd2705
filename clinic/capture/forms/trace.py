"""Bringing a photo to scale, and drawing over it. Both pages write plain fields, which can be typed as
well.
"""

from __future__ import annotations

import uuid
from typing import Any

from django import forms

from clinic.capture.writes.measurement import outline_read
from clinic.models import Reference
from clinic.record.errors import Refused
from clinic.record.forms.numbers import NumberField
from offload.core.intake import IntakeError, points_of

__all__ = ["PointsField", "RingsField", "ScaleForm", "TraceForm"]


MOST_MARKS = 100


class PointsField(forms.CharField):
    """Points as `x, y` lines (or `;` between them)."""

    widget = forms.Textarea(
        attrs={"rows": 4, "spellcheck": "false", "autocomplete": "off", "data-folded": ""}
    )

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        try:
            return tuple(points_of(text or "", MOST_MARKS))
        except IntakeError as fault:
            raise forms.ValidationError(f"{self.label}: {fault}.") from fault

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, list | tuple):
            return "\n".join(f"{x:g}, {y:g}" for x, y in value)
        return value


class RingsField(forms.CharField):
    """An outline as the tracing page sends it: parts, each a ring and its holes."""

    widget = forms.HiddenInput

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return ()
        try:
            return outline_read(text)
        except Refused as refused:
            raise forms.ValidationError(refused.message) from None


class ScaleForm(forms.Form):
    reference = forms.ChoiceField(
        label="What of known size lies beside it", choices=Reference.choices, widget=forms.RadioSelect
    )
    marks = PointsField(
        label="Marks in the picture (pixels)",
        help_text="Four corners clockwise, beginning with a long side; or the two ends of a length on the "
        "ruler.",
    )
    distance_mm = NumberField(
        label="Between the two marks of the ruler", low=1, high=500, places=1, unit="mm", required=False
    )
    snap = forms.BooleanField(label="Use the straight edges beside my marks", required=False, initial=True)

    def marked(self) -> dict[str, Any]:
        """What was marked, as the write takes it."""
        data = self.cleaned_data
        ruler = data["reference"] == Reference.RULER
        return {
            "reference": data["reference"],
            "marks": data["marks"],
            "distance_mm": data["distance_mm"] if ruler else None,
            "snap": data["snap"] and not ruler,
        }


class TraceForm(forms.Form):
    outline = RingsField(required=False)
    submission_key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    blind = forms.BooleanField(required=False, widget=forms.HiddenInput)
