"""What of the review list to show, and the note with which a lesion is marked as seen."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.week.reads.review import CONCERNS, ReviewList
from clinic.week.reads.review_due import DUE

__all__ = ["ReviewFilterForm", "SeenForm"]


WORDS = {**CONCERNS, **DUE}


class ReviewFilterForm(forms.Form):
    concern = forms.ChoiceField(label="Verdict", required=False, choices=[("", "All"), *CONCERNS.items()])
    due = forms.ChoiceField(label="Due", required=False, choices=[("", "Anything"), *DUE.items()])
    device = forms.CharField(label="Device", required=False, max_length=32)

    def count(self, found: ReviewList) -> None:
        """Put the counts of the list beside the choices; those without a lesion are left out."""
        chosen = self.data.get("concern", ""), self.data.get("due", ""), self.data.get("device", "")
        self._offer("concern", "All", found.concerns, chosen[0])
        self._offer("due", "Anything", found.dues, chosen[1])
        devices = [("", "Any"), *found.devices]
        self.fields["device"].widget = forms.Select(choices=devices)

    def _offer(self, name: str, every: str, counts: Any, chosen: str) -> None:
        known = {key for key, _, _ in counts}
        choices = [("", every), *((key, f"{words} ({count})") for key, words, count in counts)]
        if chosen and chosen not in known:
            choices.append((chosen, f"{WORDS.get(chosen, chosen)} (0)"))
        self.fields[name].choices = choices  # type: ignore[attr-defined]


class SeenForm(forms.Form):
    concern = forms.CharField(widget=forms.HiddenInput, max_length=12)
    note = forms.CharField(label="What you saw or decided", max_length=300)
