"""A course of an antibiotic: started, prolonged or corrected, stopped."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import AntibioticRoute, CourseStop
from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import PastDayField


class AntibioticForm(forms.Form):
    drug = forms.CharField(label="Antibiotic", max_length=80)
    dose = forms.CharField(label="Dose and how often", max_length=80)
    route = forms.ChoiceField(label="Route", choices=AntibioticRoute.choices, widget=forms.RadioSelect)
    started_on = PastDayField(label="Started on")
    planned_end_on = DayField(label="Planned end")
    decided_by = forms.CharField(label="Who decided", max_length=120)
    why = forms.CharField(label="Why", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        start, end = data.get("started_on"), data.get("planned_end_on")
        if start and end and end < start:
            self.add_error(
                "planned_end_on",
                f"Planned end: {end:%-d %b %Y} lies before the start, {start:%-d %b %Y}.",
            )
        return data


class AntibioticEditForm(AntibioticForm):
    because = forms.CharField(label="Why it is prolonged, shortened or corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)


class AntibioticStopForm(forms.Form):
    stopped_on = PastDayField(label="Last day taken")
    stop_reason = forms.ChoiceField(
        label="Why it stopped", choices=CourseStop.choices, widget=forms.RadioSelect
    )
    stop_note = forms.CharField(label="In words", max_length=200, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)
