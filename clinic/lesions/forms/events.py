"""Something that happened to an ulcer; of a debridement, what is asked before the blade."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from clinic.models import Anticoagulant, EventKind
from clinic.record.forms.chips import YesNoChips
from clinic.record.forms.dates import DayField

#: Decisions come from the non-healing review; samples, images and antibiotics have records of their own.
ELSEWHERE = (EventKind.DECISION, EventKind.SAMPLE, EventKind.IMAGING, EventKind.ANTIBIOTIC)
KINDS = [("", "Choose")] + [pair for pair in EventKind.choices if pair[0] not in ELSEWHERE]


class EventForm(forms.Form):
    kind = forms.ChoiceField(label="What happened", choices=KINDS)
    happened_on = DayField(label="On")
    note = forms.CharField(label="In a few words", max_length=300, required=False)
    sharp = YesNoChips(label="Sharp debridement")
    anticoagulant = forms.ChoiceField(
        label="On an anticoagulant",
        choices=Anticoagulant.choices,
        widget=forms.RadioSelect,
        required=False,
    )
    anticoagulant_done = forms.CharField(label="What was done about bleeding", max_length=200, required=False)
    despite = forms.CharField(
        label="Who of the vascular team agreed, and when",
        max_length=200,
        required=False,
        help_text="Only for sharp debridement of an uninfected ulcer with ischaemia grade 3.",
    )

    def clean_happened_on(self):
        day = self.cleaned_data["happened_on"]
        if day > timezone.localdate():
            raise forms.ValidationError(f"On: {day:%-d %b %Y} lies in the future; an event has happened.")
        return day

    @property
    def debridement(self) -> list[forms.BoundField]:
        return [self[name] for name in ("sharp", "anticoagulant", "anticoagulant_done")]

    def event(self) -> dict[str, Any]:
        """What the write takes; call on a valid form."""
        return dict(self.cleaned_data)
