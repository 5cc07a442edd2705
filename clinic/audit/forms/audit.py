"""What the audit is about: period, class, prescriber; and which changes to read."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from clinic.audit.forms.periods import period_check
from clinic.models import DEVICE_CHOICES, User
from clinic.record.forms.dates import DayField


class AuditForm(forms.Form):
    since = DayField(label="From")
    until = DayField(label="To")
    device_class = forms.ChoiceField(label="Device class", required=False)
    prescriber = forms.TypedChoiceField(label="Prescriber", required=False, coerce=int, empty_value=None)

    def __init__(self, *args: Any, prescribers: Iterable[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["device_class"].choices = [("", "All"), *DEVICE_CHOICES]  # type: ignore[attr-defined]
        self.fields["prescriber"].choices = [  # type: ignore[attr-defined]
            ("", "All"),
            *((user.pk, str(user)) for user in prescribers),
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        period_check(self, data.get("since"), data.get("until"), "From")
        return data


class CaseCursor(forms.Form):
    """Where the page before ended: a day and a key."""

    before = forms.RegexField(r"^\d{4}-\d{2}-\d{2}\.\d{1,18}$", required=False)

    def clean_before(self) -> str:
        text: str = self.cleaned_data["before"]
        if text:
            try:
                date.fromisoformat(text.partition(".")[0])
            except ValueError as fault:
                raise forms.ValidationError("no such day") from fault
        return text


class ChangesForm(forms.Form):
    person = forms.CharField(label="Record number", required=False, max_length=20)
    actor = forms.ChoiceField(label="Who", required=False)
    verb = forms.ChoiceField(label="What", required=False)
    before = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def __init__(self, *args: Any, actors: Iterable[str], verbs: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        who: Any = self.fields["actor"]
        what: Any = self.fields["verb"]
        who.choices = [("", "Anyone"), *((a, a) for a in actors)]
        what.choices = [("", "Anything"), *((v, v) for v in verbs)]
