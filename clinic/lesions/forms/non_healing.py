"""The non-healing review: each item is done, due with owner and day, or not needed; none preselected."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.lesions.reads.causes import CauseSheet, PossibleCause
from clinic.lesions.writes.non_healing import ItemFound
from clinic.models import CareOutcome, ItemState, Site
from clinic.record.forms.dates import DayField
from clinic.record.forms.owners import owners_of


class NonHealingForm(forms.Form):
    def __init__(self, *args: Any, sheet: CauseSheet, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        self.owners = {str(one.pk): one for one in owners_of(site)}
        people = [("", "Choose"), *((key, str(one)) for key, one in self.owners.items())]
        for cause in sheet.causes:
            self.fields[f"{cause.topic}_state"] = forms.ChoiceField(
                label=f"{cause.label} is",
                choices=ItemState.choices,
                widget=forms.RadioSelect,
                error_messages={"required": f"{cause.label}: done, due, or not needed; one is needed."},
            )
            self.fields[f"{cause.topic}_words"] = forms.CharField(
                label="What was done, what is to do, or why not",
                max_length=200,
                error_messages={"required": f"{cause.label}: a few words are needed."},
            )
            self.fields[f"{cause.topic}_owner"] = forms.ChoiceField(
                label="Owner, if due", choices=people, required=False
            )
            self.fields[f"{cause.topic}_due_on"] = DayField(label="Due on, if due", required=False)

    @property
    def rows(self) -> list[tuple[PossibleCause, list[forms.BoundField]]]:
        parts = ("state", "words", "owner", "due_on")
        return [(cause, [self[f"{cause.topic}_{part}"] for part in parts]) for cause in self.sheet.causes]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for cause in self.sheet.causes:
            if data.get(f"{cause.topic}_state") != ItemState.DUE:
                continue
            if not data.get(f"{cause.topic}_owner") and f"{cause.topic}_owner" not in self.errors:
                self.add_error(f"{cause.topic}_owner", f"{cause.label}: who does it? Choose an owner.")
            if not data.get(f"{cause.topic}_due_on") and f"{cause.topic}_due_on" not in self.errors:
                self.add_error(f"{cause.topic}_due_on", f"{cause.label}: until when? A day is needed.")
        return data

    def items(self) -> dict[str, ItemFound]:
        """What was decided; call on a valid form."""
        data = self.cleaned_data
        return {
            cause.topic: ItemFound(
                state=data[f"{cause.topic}_state"],
                words=data[f"{cause.topic}_words"],
                owner=self.owners.get(data[f"{cause.topic}_owner"]),
                due_on=data[f"{cause.topic}_due_on"],
                facts=cause.facts,
            )
            for cause in self.sheet.causes
        }


class ItemForm(forms.Form):
    """An item that was due: what became of it."""

    state = forms.ChoiceField(
        label="It is now",
        choices=[pair for pair in ItemState.choices if pair[0] != ItemState.DUE],
        widget=forms.RadioSelect,
    )
    words = forms.CharField(label="What was done, or why it is not needed", max_length=200)
    version = forms.IntegerField(widget=forms.HiddenInput)


class CareOutcomeForm(forms.Form):
    outcome = forms.ChoiceField(
        label="The review comes to", choices=CareOutcome.choices, widget=forms.RadioSelect
    )
    outcome_words = forms.CharField(
        label="In words", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
