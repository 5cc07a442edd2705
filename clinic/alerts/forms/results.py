"""A test requested, its result, who saw it, and its withdrawal."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from clinic.guidelines.results import RESULT_KINDS, value_fault
from clinic.models import RESULT_CHOICES, Lesion, Limb, ResultReading, Site
from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import PastDayField
from clinic.record.forms.numbers import NumberField
from clinic.record.forms.owners import OwnerField


class ResultRequestForm(forms.Form):
    kind = forms.ChoiceField(label="Test", choices=[("", "Choose"), *RESULT_CHOICES])
    what = forms.CharField(label="What exactly", max_length=120, required=False)
    about = forms.ChoiceField(label="For", required=False)
    requested_on = PastDayField(label="Requested on")
    due_on = DayField(label="Result due on")

    def __init__(
        self, *args: Any, site: Site, limbs: Iterable[Limb], lesions: Iterable[Lesion], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.limbs = {f"limb-{limb.pk}": limb for limb in limbs}
        self.lesions = {f"lesion-{lesion.pk}": lesion for lesion in lesions}
        self.fields["about"].choices = [  # type: ignore[attr-defined]
            ("", "The patient as a whole"),
            *((key, f"{limb.get_side_display()} foot") for key, limb in self.limbs.items()),
            *((key, f"Ulcer {one.label}, {one.where}") for key, one in self.lesions.items()),
        ]
        self.fields["owner"] = OwnerField(site=site, label="Who waits for the result")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("kind") == "other" and not data.get("what"):
            self.add_error("what", "What exactly: another test is named here.")
        asked_on, due_on = data.get("requested_on"), data.get("due_on")
        if asked_on and due_on and due_on < asked_on:
            self.add_error(
                "due_on",
                f"Result due on: {due_on:%-d %b %Y} lies before the day of the request, "
                f"{asked_on:%-d %b %Y}.",
            )
        return data

    def request(self) -> dict[str, Any]:
        """What the write takes; call on a valid form."""
        data = dict(self.cleaned_data)
        about = data.pop("about")
        lesion = self.lesions.get(about)
        limb = lesion.limb if lesion else self.limbs.get(about)
        return {**data, "limb": limb, "lesion": lesion}


class ResultEditForm(ResultRequestForm):
    why = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)


class ResultReportForm(forms.Form):
    """What came back. The value only where the test is a number."""

    result_on = PastDayField(label="Result of")
    value = NumberField(label="Value", low=0, high=99_999, places=1, required=False)
    words = forms.CharField(
        label="Report in words", max_length=400, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    reading = forms.ChoiceField(label="Read as", choices=ResultReading.choices, widget=forms.RadioSelect)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind
        row = RESULT_KINDS[kind]
        if row.numeric:
            low, high = row.low or 0.0, row.high or 99_999.0
            self.fields["value"] = NumberField(
                label=row.label, low=low, high=high, places=1, unit=row.unit, required=False
            )
        else:
            del self.fields["value"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "value" in self.errors or "words" in self.errors:
            return data
        value = data.get("value")
        fault = value_fault(self.kind, None if value is None else float(value), data.get("words", ""))
        if fault:
            self.add_error("value" if "value" in self.fields else "words", fault)
        return data


class ResultSeenForm(forms.Form):
    follows = forms.CharField(
        label="What follows from it", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class ResultWithdrawForm(forms.Form):
    withdrawn_because = forms.CharField(label="Why it is withdrawn", max_length=200)
    version = forms.IntegerField(widget=forms.HiddenInput)
