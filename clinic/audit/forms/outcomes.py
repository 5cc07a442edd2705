"""Which lesions the outcomes page counts, and under what."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.audit.forms.periods import period_check
from clinic.audit.reads.outcomes import GROUPINGS
from clinic.record.forms.dates import DayField

__all__ = ["OutcomesForm"]


class OutcomesForm(forms.Form):
    since = DayField(label="First seen from")
    until = DayField(label="To")
    by = forms.ChoiceField(label="Count under", choices=list(GROUPINGS.items()))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        period_check(self, data.get("since"), data.get("until"), "First seen from")
        return data
