"""What is left of a begun visit: empty fields only; what somebody answered already is not asked again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django import forms

from clinic.models import Visit
from clinic.visits.forms.visits import FOLLOW_UPS, VisitForm
from clinic.visits.reads import VisitSheet
from clinic.visits.writes.visits import COLUMNS, PersonFindings

__all__ = ["FinishForm"]

#: Asked of each person who sees the foot, or free to be added to, whatever stands.
ASKED_AGAIN = ("visited_on", "next_on", "next_at", "transport", "no_next_because", "note")


class FinishForm(VisitForm):
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, sheet: VisitSheet, visit: Visit, **kwargs: Any) -> None:
        self.visit = visit
        super().__init__(*args, sheet=sheet, initial={"version": visit.version}, **kwargs)
        # A date agreed when the visit was begun stands until another one is typed.
        self.needs_next = visit.next_on is None and not visit.no_next_because

    def _fit_devices(self, sheet: VisitSheet) -> None:
        super()._fit_devices(sheet)
        self.fields["visited_on"].widget = forms.HiddenInput()
        self.initial["visited_on"] = self.visit.visited_on
        del self.fields["submission_key"]
        for name in COLUMNS:
            if name in self.fields and name not in ASKED_AGAIN and self._stands(name):
                del self.fields[name]
        for note, name in FOLLOW_UPS.items():
            if name not in self.fields:
                self.fields.pop(note, None)

    def _stands(self, name: str) -> bool:
        return getattr(self.visit, name) not in (None, "")

    def clean(self) -> None:
        data = self.cleaned_data
        if not data.get("next_on") and not data.get("next_in") and not data.get("no_next_because"):
            # A date agreed when the visit was begun takes a time or transport given now.
            data["next_on"] = self.visit.next_on
        super().clean()

    def findings(self) -> PersonFindings:
        """What stands, and what was added to it."""
        data = super().findings()
        stands = {
            name: getattr(self.visit, name)
            for name in COLUMNS
            if name not in ASKED_AGAIN and self._stands(name)
        }
        note = "\n".join(text for text in (self.visit.note, data.note) if text)
        return replace(
            data,
            **stands,
            visited_on=self.visit.visited_on,
            next_at=data.next_at or (self.visit.next_at if data.next_on == self.visit.next_on else None),
            transport=data.transport or (self.visit.transport if data.next_on == self.visit.next_on else ""),
            no_next_because=data.no_next_because or ("" if data.next_on else self.visit.no_next_because),
            note=note,
        )
