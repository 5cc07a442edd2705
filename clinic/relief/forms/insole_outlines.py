"""The outline of the real insole: points read off the printed grid, typed or in a file; or a photo's edge."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from clinic.record.forms.dates import DayField
from offload.core.intake import Bounds, IntakeError, points_of, text_of

__all__ = ["OutlineFromPhotoForm", "OutlinePointsForm"]

FEWEST_POINTS, MOST_POINTS = 12, 400
FILE = Bounds(80 * MOST_POINTS, 2 * MOST_POINTS)


class OutlineFromPhotoForm(forms.Form):
    note = forms.CharField(label="Note", required=False, max_length=200)


class OutlinePointsForm(OutlineFromPhotoForm):
    taken_on = DayField(label="Read off on", initial=timezone.localdate)
    points = forms.CharField(
        label="Points of the edge (mm)",
        required=False,
        max_length=FILE.characters,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocomplete": "off"}),
        help_text="Once round, one point a line: from the long axis (towards the little toe positive, "
        f"towards the big toe negative), from the heel line. {FEWEST_POINTS} points at least.",
    )
    file = forms.FileField(label="Or a text file of such lines", required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        sent, text = data.get("file"), data.get("points") or ""
        field = "points"
        if sent is not None:
            field = "file"
            if text.strip():
                self.add_error("file", "File: given beside typed points; give one of the two.")
                return data
            try:
                text = text_of(sent.read(FILE.characters + 1), FILE)
            except IntakeError as fault:
                self.add_error("file", f"File: {fault}.")
                return data
        try:
            data["ring"] = points_of(text, MOST_POINTS)
        except IntakeError as fault:
            self.add_error(field, f"Points: {fault}.")
            return data
        if len(data["ring"]) < FEWEST_POINTS:
            self.add_error(
                field, f"Points: {len(data['ring'])} given; {FEWEST_POINTS} are needed, once round the edge."
            )
        return data
