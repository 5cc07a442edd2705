"""A referral, and the times it is chased by."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import Lesion, ReferralTo, Urgency
from clinic.record.forms.entries import PastDayField


class PastTimeField(forms.DateTimeField):
    """A moment that has come already, as the browser's own control sends it."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget", forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        )
        options.setdefault("input_formats", ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"])
        super().__init__(**options)

    def validate(self, value: Any) -> None:
        super().validate(value)
        now = timezone.now()
        if value and value > now:
            given, latest = (date_format(timezone.localtime(at), "DATETIME_FORMAT") for at in (value, now))
            raise ValidationError(f"{self.label} was given as {given}; the latest possible is now, {latest}.")


class ReferralForm(forms.Form):
    to = forms.ChoiceField(label="To", choices=ReferralTo.choices, widget=forms.RadioSelect)
    urgency = forms.ChoiceField(label="How soon", choices=Urgency.choices, widget=forms.RadioSelect)
    lesion = forms.ChoiceField(label="For", required=False)
    because = forms.CharField(label="Because", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    made_at = PastTimeField(label="Made at")

    def __init__(self, *args: Any, lesions: Iterable[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lesions = {str(lesion.pk): lesion for lesion in lesions}
        self.fields["lesion"].choices = [  # type: ignore[attr-defined]
            ("", "The patient as a whole"),
            *((pk, str(lesion)) for pk, lesion in self.lesions.items()),
        ]

    def clean_lesion(self) -> Lesion | None:
        return self.lesions.get(self.cleaned_data["lesion"])


class FollowForm(forms.Form):
    tried_at = PastTimeField(label="Tried, no answer, at", required=False)
    reached_at = PastTimeField(label="Reached them at", required=False)
    accepted_at = PastTimeField(label="Accepted at", required=False)
    seen_on = PastDayField(label="Patient seen there on", required=False)
    result = forms.CharField(
        label="Result", required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    cancelled_because = forms.CharField(label="Cancelled, because", required=False, max_length=200)
    version = forms.IntegerField(widget=forms.HiddenInput)
