"""Which team has a standing danger, and when it sees the person next."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from clinic.alerts.reads.known import DangerNow
from clinic.record.forms.dates import DayField

__all__ = ["DangerOwnerForm"]


class DangerOwnerForm(forms.Form):
    danger = forms.ChoiceField(label="Danger", choices=[], widget=forms.RadioSelect)
    team = forms.CharField(
        label="Team that has it from now on",
        max_length=80,
        help_text="Such as: vascular team, city hospital.",
    )
    next_on = DayField(label="Seen there next on")
    note = forms.CharField(
        label="Note", required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, dangers: Iterable[DangerNow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(row.danger.id, row.danger.words) for row in dangers]
        self.fields["danger"].choices = choices  # type: ignore[attr-defined]
