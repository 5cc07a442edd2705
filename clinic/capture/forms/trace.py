"""Bringing a photo to scale, and drawing over it. Both pages write plain fields, which can be typed as
well.
"""

from __future__ import annotations

import json
import re
import uuid
from typing import Any

from django import forms

from clinic.capture.writes.measurement import parts_of
from clinic.models import Reference
from clinic.record.errors import Refused

__all__ = ["PointsField", "RingsField", "ScaleForm", "TraceForm"]


class PointsField(forms.CharField):
    """Points as `x, y` lines (or `;` between them)."""

    widget = forms.Textarea(
        attrs={"rows": 4, "spellcheck": "false", "autocomplete": "off", "data-folded": ""}
    )

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        points = []
        parts = [part for part in re.split(r"[\n;]", text or "") if part.strip()]
        for number, part in enumerate(parts, start=1):
            try:
                x, y = (float(one) for one in re.split(r"[,\s]+", part.strip()))
            except ValueError:
                raise forms.ValidationError(
                    f"{self.label}: point {number} is “{part.strip()[:30]}”; two numbers are needed, such as "
                    "512.5, 300."
                ) from None
            points.append((x, y))
        return tuple(points)

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
            return parts_of(json.loads(text))
        except Refused as refused:
            raise forms.ValidationError(refused.message) from None
        except (ValueError, RecursionError):
            raise forms.ValidationError("Outline: not readable as JSON.") from None


class ScaleForm(forms.Form):
    reference = forms.ChoiceField(
        label="What of known size lies beside it", choices=Reference.choices, widget=forms.RadioSelect
    )
    marks = PointsField(
        label="Marks in the picture (pixels)",
        help_text="Four corners clockwise, beginning with a long side; or the two ends of a length on the "
        "ruler.",
    )
    distance_mm = forms.DecimalField(
        label="Between the two marks of the ruler (mm)",
        required=False,
        min_value=1,
        max_value=500,
        max_digits=5,
        decimal_places=1,
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
