"""The sheet "Why is it not healing?": one outcome and its words for each cause, none preselected."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.case.reads.inquiries import PossibleCause, WhySheet
from clinic.case.writes import CauseFound
from clinic.models import InquiryOutcome


class WhyForm(forms.Form):
    def __init__(self, *args: Any, sheet: WhySheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        for cause in sheet.causes:
            self.fields[f"{cause.topic}_outcome"] = forms.ChoiceField(
                label=f"{cause.label} ends as",
                choices=InquiryOutcome.choices,
                widget=forms.RadioSelect,
                error_messages={"required": f"{cause.label}: done, to do, or not needed; one is needed."},
            )
            self.fields[f"{cause.topic}_words"] = forms.CharField(
                label="What was done, what to do, or why not",
                max_length=200,
                error_messages={"required": f"{cause.label}: say it in words."},
            )

    @property
    def rows(self) -> list[tuple[PossibleCause, forms.BoundField, forms.BoundField]]:
        return [
            (cause, self[f"{cause.topic}_outcome"], self[f"{cause.topic}_words"])
            for cause in self.sheet.causes
        ]

    def causes(self) -> dict[str, CauseFound]:
        """What was decided; call on a valid form."""
        data = self.cleaned_data
        return {
            cause.topic: CauseFound(data[f"{cause.topic}_outcome"], data[f"{cause.topic}_words"], cause.facts)
            for cause in self.sheet.causes
        }
