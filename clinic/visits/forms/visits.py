"""The weekly visit: what is asked once per person, and the short forms about a visit."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from clinic.alerts.forms.flags import RedFlagQuestions
from clinic.models import (
    Attendance,
    DeviceCondition,
    Looked,
    Measurement,
    Pain,
    Trace,
    Visit,
    Wear,
    WeighedHow,
)
from clinic.record.dates import day_words
from clinic.record.forms.chips import FIELD, YesNoChips, chips, drawn_by
from clinic.record.forms.dates import DayField
from clinic.record.forms.findings import findings_of, words_of
from clinic.record.forms.refusals import hold
from clinic.relief.forms.watch import watch_add, watch_answers
from clinic.visits.forms.measurement import MeasurementForm
from clinic.visits.reads import VisitSheet
from clinic.visits.writes.answers import next_given_check, weighed_check, why_not_worn_check
from clinic.visits.writes.visits import COLUMNS, PersonFindings

__all__ = ["CorrectionForm", "InErrorForm", "MissedCorrectionForm", "MissedForm", "VisitForm", "lesion_forms"]

FOLLOW_UP = "record/_follow_up.html"
#: Words asked only after an answer of another field that asks for them.
FOLLOW_UPS = {"other_foot_note": "other_foot", "skin_note": "skin_under_device", "why_not_worn": "wear"}
#: Asked only of a person who has a device on.
ABOUT_DEVICE = ("skin_under_device", "skin_note", "device_condition", "wear", "why_not_worn")
#: Answers that belong to one day and do not stand beside the next visit's field; the others all do.
NOT_BESIDE = (
    "visited_on",
    "next_on",
    "note",
    "temperature_c",
    "pulse_per_min",
    "breaths_per_min",
    "white_cells_10e9_per_l",
    *FOLLOW_UPS,
)
#: Signs of the whole person, folded away until somebody is unwell.
SIGNS = ("temperature_c", "pulse_per_min", "breaths_per_min", "white_cells_10e9_per_l")
STAYS_ON = (Wear.STILL_SEALED, Wear.OPENED)
#: Short words on the page; untouched is "not looked at".
LOOKED = [(Looked.CLEAR.value, "Clear"), (Looked.PROBLEM.value, "Problem")]
MISSED = [pair for pair in Attendance.choices if pair[0] != Attendance.CAME]


class PlainForm(forms.Form):
    """Labels as they are written, without a colon."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})


class NextDateForm(PlainForm):
    """The next date: one touch for a week later, or typed."""

    next_in_7 = forms.BooleanField(label="7 days after this visit", required=False)
    next_on = DayField(label="or on", required=False)
    day_field = "visited_on"

    def clean(self) -> None:
        data = self.cleaned_data
        day, typed = data.get(self.day_field), data.get("next_on")
        if data.get("next_in_7") and isinstance(day, date):
            week = day + timedelta(days=7)
            if typed is not None and typed != week:
                self.add_error(
                    "next_on",
                    f"Next visit: {typed:%Y-%m-%d} is typed and 7 days ({week:%Y-%m-%d}) is ticked; "
                    "keep one.",
                )
            data["next_on"] = week


def follow_up(label: str) -> forms.CharField:
    """Words asked only after a problem; the page shows the field when there is one (or when it is filled)."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"placeholder": " "}),
    )


def measured(label: str, low: int, high: int, *, tenths: bool = False) -> forms.IntegerField:
    """A sign of the whole person, within the bounds of the grading; empty was not measured."""
    kind: type[forms.IntegerField] = OneDecimal if tenths else forms.IntegerField
    return kind(
        label=label,
        required=False,
        min_value=low,
        max_value=high,
        widget=forms.NumberInput(
            attrs={"inputmode": "decimal" if tenths else "numeric", "step": "0.1" if tenths else "1"}
        ),
        error_messages={name: f"{label}: {low} to {high} is allowed." for name in ("min_value", "max_value")},
    )


class OneDecimal(forms.DecimalField):
    """A number with one decimal at most."""

    def __init__(self, **options: Any) -> None:
        super().__init__(decimal_places=1, **options)


class VisitForm(RedFlagQuestions, NextDateForm):
    submission_key = forms.UUIDField(widget=forms.HiddenInput)
    visited_on = DayField(label="Date of the visit")
    #: Whether an open lesion makes the next date compulsory.
    needs_next = True
    pain = chips("Pain", [(Pain.NONE.value, "No new"), (Pain.NEW.value, "New"), (Pain.WORSE.value, "Worse")])
    fall = YesNoChips(label="A fall since the last visit")
    other_foot = chips("Other foot", LOOKED)
    other_foot_note = follow_up("What on the other foot")
    skin_under_device = chips("Skin under the device", LOOKED)
    skin_note = follow_up("What under the device")
    device_condition = chips("Device", DeviceCondition.choices)
    wear = chips("Worn since the last visit", Wear.choices)
    why_not_worn = follow_up("Why not worn")
    temperature_c = measured("Temperature (°C)", 25, 45, tenths=True)
    pulse_per_min = measured("Pulse (per minute)", 0, 300)
    breaths_per_min = measured("Breaths (per minute)", 0, 100)
    white_cells_10e9_per_l = measured("White cells (10⁹ per litre)", 0, 500, tenths=True)
    device_opened = forms.BooleanField(label="Sealed device opened at this visit", required=False)
    dressing_same = forms.BooleanField(label="As last time", required=False)
    dressing = forms.CharField(label="Dressing", required=False, max_length=200)
    weight_kg = forms.DecimalField(
        label="Weight (kg)",
        required=False,
        min_value=20,
        max_value=300,
        max_digits=4,
        decimal_places=1,
    )
    weight_how = forms.ChoiceField(
        label="Weighed how", required=False, choices=[("", "Choose"), *WeighedHow.choices]
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, sheet: VisitSheet, **kwargs: Any) -> None:
        initial = {"visited_on": timezone.localdate(), "submission_key": uuid.uuid4()}
        super().__init__(*args, initial={**initial, **kwargs.pop("initial", {})}, **kwargs)
        self.sheet = sheet
        self._fit_devices(sheet)
        self._show_last(sheet)
        watch_add(self, sheet.watch)
        drawn_by(self, FIELD, *self.fields)
        drawn_by(self, FOLLOW_UP, *FOLLOW_UPS)

    def _fit_devices(self, sheet: VisitSheet) -> None:
        """Ask about devices only what the running ones can answer."""
        if not sheet.worn:
            for name in ABOUT_DEVICE:
                del self.fields[name]
        else:
            wear = [
                pair for pair in Wear.choices if (sheet.stays_on if pair[0] in STAYS_ON else sheet.removable)
            ]
            self.fields["wear"].choices = wear  # type: ignore[attr-defined]
            if not sheet.removable:
                self.fields["wear"].label = "Device on arrival"
                del self.fields["why_not_worn"]
        if not sheet.sealed:
            del self.fields["device_opened"]
        if not sheet.weight_due:
            del self.fields["weight_kg"], self.fields["weight_how"]
        if sheet.last is None or not sheet.last.dressing:
            del self.fields["dressing_same"]

    def _show_last(self, sheet: VisitSheet) -> None:
        last, beside = sheet.last, {}
        if last is not None:
            beside = {name: words_of(last, name) for name in COLUMNS if name not in NOT_BESIDE}
        if sheet.weight is not None:
            weighed_on = day_words(sheet.weight.measured_on)
            beside["weight_kg"] = f"{sheet.weight.kg} kg, {weighed_on}"
        for name, words in beside.items():
            if name in self.fields:
                self.fields[name].last = words  # type: ignore[attr-defined]
        if "weight_kg" in self.fields:
            self.fields["weight_kg"].widget.attrs.update({"inputmode": "decimal", "step": "0.1"})

    @property
    def signs_open(self) -> bool:
        """Whether the measured signs are shown: somebody is unwell, or one of them is filled or faulty."""
        return any(
            self[name].value() not in (None, "") or self[name].errors for name in SIGNS if name in self.fields
        )

    def clean(self) -> None:
        super().clean()
        data = self.cleaned_data
        if data.get("dressing_same"):
            if data.get("dressing"):
                self.add_error("dressing", "Dressing: typed and also ticked “as last time”; keep one.")
            elif self.sheet.last is not None:
                data["dressing"] = self.sheet.last.dressing
        needed = self.needs_next and bool(self.sheet.lesions)
        hold(self, next_given_check, "next_on", needed=needed)
        hold(self, weighed_check, "weight_kg", "weight_how")
        hold(self, why_not_worn_check, "wear", "why_not_worn")

    def findings(self) -> PersonFindings:
        """What was typed, as the write takes it."""
        return findings_of(self, PersonFindings, unfinished=False, watch=watch_answers(self.cleaned_data))


def lesion_forms(
    sheet: VisitSheet,
    data: Any = None,
    files: Any = None,
    stored: dict[int, Measurement] | None = None,
    traced: Trace | None = None,
) -> list[MeasurementForm]:
    """One part of the page per lesion; a trace just drawn for this visit stands in its outline."""
    parts = []
    for one in sheet.lesions:
        initial = MeasurementForm.stored(stored[one.lesion.pk]) if stored else None
        fresh = traced if traced is not None and traced.scale.photo.lesion_id == one.lesion.pk else None
        if fresh is not None:
            initial = {"outline": fresh.outline_mm, "trace": fresh.pk, "fresh_trace": True}
        part = MeasurementForm(data, files, sheet=one, photo=sheet.photo_consent, initial=initial)
        part.traced = fresh
        parts.append(part)
    return parts


class CorrectionForm(VisitForm):
    """A stored visit with what it says; red flags have a life of their own and are not rewritten here."""

    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)
    needs_next = False

    def __init__(self, *args: Any, sheet: VisitSheet, visit: Visit, **kwargs: Any) -> None:
        on_record = {f.attname: getattr(visit, f.attname) for f in Visit._meta.concrete_fields}
        super().__init__(*args, sheet=sheet, initial=on_record, **kwargs)
        self.fields["next_on"].label = "Next visit"

    def _fit_devices(self, sheet: VisitSheet) -> None:
        """Every stored answer keeps its field, whatever device runs today: corrections only."""
        for name in set(VisitForm.base_fields) - set(COLUMNS):
            del self.fields[name]


class MissedForm(NextDateForm):
    submission_key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    attendance = forms.ChoiceField(label="What happened", choices=MISSED, widget=forms.RadioSelect)
    visited_on = DayField(label="Date of the missed visit")
    why_not = forms.CharField(label="Why", required=False, max_length=200)
    next_in_7 = forms.BooleanField(label="7 days after the missed visit", required=False)


class MissedCorrectionForm(MissedForm):
    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["submission_key"], self.fields["next_in_7"]


class InErrorForm(PlainForm):
    reason = forms.CharField(
        label="Why it was entered in error", max_length=100, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
