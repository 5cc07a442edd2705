"""The draw of a peer reading, and a reader's opinion. Nothing is preselected."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import PeerOpinion
from clinic.record.forms.dates import DayField
from clinic.record.forms.numbers import NumberField


class PeerDrawForm(forms.Form):
    since = DayField(label="Choices signed from")
    until = DayField(label="To")
    size = NumberField(label="Departures, and as many agreements", low=1, high=50, kind=int, initial=10)
    seed = NumberField(
        label="Seed of the draw",
        low=1,
        high=2_000_000_000,
        kind=int,
        help_text="Any number; the same number draws the same choices again.",
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        since, until = data.get("since"), data.get("until")
        if since and until and until < since:
            self.add_error("until", f"To: {until:%-d %b %Y} lies before {since:%-d %b %Y}.")
        return data


class PeerReadForm(forms.Form):
    opinion = forms.ChoiceField(
        label="What do you think of this choice?", choices=PeerOpinion.choices, widget=forms.RadioSelect
    )
    words = forms.CharField(label="In words", required=False, max_length=300)
