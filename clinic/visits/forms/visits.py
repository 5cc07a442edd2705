"""The weekly visit: what is asked once per person, and the short forms about a visit."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone

from clinic.alerts.forms.flags import RedFlagQuestions
from clinic.guidelines.next_visit import next_offers
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
from clinic.record.forms.chips import FIELD, YesNoChips, chips, drawn_by, filled
from clinic.record.forms.dates import DayField
from clinic.record.forms.findings import findings_of, words_of
from clinic.record.forms.numbers import NumberField
from clinic.record.forms.refusals import hold
from clinic.record.forms.touches import TouchField, touches_answer, touches_fit
from clinic.relief.forms.watch import watch_add, watch_answers
from clinic.visits.forms.measurement import MeasurementForm
from clinic.visits.forms.next_date import NextDateForm
from clinic.visits.reads import VisitSheet
from clinic.visits.writes.answers import (
    next_details_check,
    next_given_check,
    weighed_check,
    why_not_worn_check,
)
from clinic.visits.writes.visits import COLUMNS, PersonFindings

__all__ = ["CorrectionForm", "MissedCorrectionForm", "MissedForm", "PlainForm", "VisitForm", "lesion_forms"]

FOLLOW_UP = "record/_follow_up.html"
#: Words asked only after an answer of another field that asks for them.
FOLLOW_UPS = {"other_foot_note": "other_foot", "skin_note": "skin_under_device", "why_not_worn": "wear"}
#: Asked only of a person who has a device on.
ABOUT_DEVICE = ("skin_under_device", "skin_note", "device_condition", "wear", "why_not_worn")
#: Answers that belong to one day and do not stand beside the next visit's field; the others all do.
NOT_BESIDE = (
    "visited_on",
    "next_on",
    "next_at",
    "transport",
    "no_next_because",
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


def follow_up(label: str) -> forms.CharField:
    """Words asked only after a problem; the page shows the field when there is one (or when it is filled)."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"placeholder": " "}),
    )


def measured(label: str, low: int, high: int, unit: str, *, tenths: bool = False) -> NumberField:
    """A sign of the whole person, within the bounds of the grading; empty was not measured."""
    places, kind = (1, Decimal) if tenths else (0, int)
    return NumberField(label=label, low=low, high=high, places=places, unit=unit, kind=kind, required=False)


class VisitForm(RedFlagQuestions, NextDateForm):
    submission_key = forms.UUIDField(widget=forms.HiddenInput)
    visited_on = DayField(label="Date of the visit")
    #: Whether the visit is saved only with a next date or why there is none.
    needs_next = True
    asked_none = TouchField(
        {"fall": ("no fall", "no"), "pain": ("no new pain", Pain.NONE.value)}, lead="Asked: "
    )
    looked_clear = TouchField(
        {
            "other_foot": ("other foot clear", Looked.CLEAR.value),
            "skin_under_device": ("skin under the device clear", Looked.CLEAR.value),
            "device_condition": ("device intact", DeviceCondition.SOUND.value),
        },
        lead="Looked at: ",
    )
    pain = chips(
        "Pain", [(Pain.NONE.value, "None new"), (Pain.NEW.value, "New"), (Pain.WORSE.value, "Worse")]
    )
    fall = YesNoChips(label="A fall since the last visit")
    other_foot = chips("Other foot", LOOKED)
    other_foot_note = follow_up("What on the other foot")
    skin_under_device = chips("Skin under the device", LOOKED)
    skin_note = follow_up("What under the device")
    device_condition = chips("Device", DeviceCondition.choices)
    wear = chips("Worn since the last visit", Wear.choices)
    why_not_worn = follow_up("Why not worn")
    temperature_c = measured("Temperature", 25, 45, "°C", tenths=True)
    pulse_per_min = measured("Pulse", 0, 300, "per minute")
    breaths_per_min = measured("Breaths", 0, 100, "per minute")
    white_cells_10e9_per_l = measured("White cells", 0, 500, "× 10⁹ per litre", tenths=True)
    device_opened = forms.BooleanField(label="Non-removable device opened at this visit", required=False)
    weight_kg = NumberField(label="Weight", low=20, high=300, places=1, unit="kg", required=False)
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
        if "next_in" in self.fields:
            self.open_by = sheet.open_by
            self.offer(
                next_offers(
                    timezone.localdate(),
                    open_lesions=bool(sheet.lesions),
                    open_by=sheet.open_by,
                    months=sheet.months,
                )
            )
        watch_add(self, sheet.watch, "looked_clear")
        drawn_by(self, FIELD, *self.fields)
        drawn_by(self, FOLLOW_UP, *FOLLOW_UPS)
        touches_fit(self)

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

    @property
    def signs_open(self) -> bool:
        """Whether the measured signs are shown: somebody is unwell, or one of them is filled or faulty."""
        return filled(self, "note", *SIGNS) or (self.dated_here and not self._today)

    @property
    def dated_here(self) -> bool:
        """Whether the day of the visit is asked in the fold; it is today unless somebody says otherwise."""
        return not isinstance(self.fields["visited_on"].widget, forms.HiddenInput)

    @property
    def _today(self) -> bool:
        day = self["visited_on"].value()
        return str(day) == timezone.localdate().isoformat() and not self["visited_on"].errors

    def clean(self) -> None:
        super().clean()
        touches_answer(self)
        hold(self, next_given_check, "next_on", "no_next_because", needed=self.needs_next)
        hold(self, next_details_check, "next_on", "next_at", "transport")
        hold(self, weighed_check, "weight_kg", "weight_how")
        hold(self, why_not_worn_check, "wear", "why_not_worn")

    def findings(self) -> PersonFindings:
        """What was typed, as the write takes it."""
        return findings_of(
            self, PersonFindings, unfinished=False, confirmed=(), watch=watch_answers(self.cleaned_data)
        )


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
            drawn = {"outline": fresh.outline_mm, "trace": fresh.pk, "fresh_trace": True}
            other_ways = dict.fromkeys(("length_mm", "width_mm", "covered_dry", "not_measured_because"))
            initial = {**(initial or {}), **other_ways, **drawn} if initial else drawn
        part = MeasurementForm(
            data,
            files,
            sheet=one,
            photo=sheet.photo_consent,
            initial=initial,
            correcting=stored is not None,
        )
        part.traced = fresh
        parts.append(part)
    return parts


class CorrectionForm(VisitForm):
    """A stored visit with what it says; red flags have a life of their own and are not rewritten here."""

    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, sheet: VisitSheet, visit: Visit, **kwargs: Any) -> None:
        # A visit that was stored without a next date may be corrected without one.
        self.needs_next = bool(visit.next_on or visit.no_next_because)
        on_record = {f.attname: getattr(visit, f.attname) for f in Visit._meta.concrete_fields}
        weight = visit.weights.standing().first()
        if weight is not None:
            on_record |= {"weight_kg": weight.kg, "weight_how": weight.how}
        super().__init__(*args, sheet=sheet, initial=on_record, **kwargs)
        self.fields["next_on"].label = "Next visit"

    def _fit_devices(self, sheet: VisitSheet) -> None:
        """Every stored answer keeps its field, whatever device runs today: corrections only."""
        for name in set(VisitForm.base_fields) - set(COLUMNS) - {"weight_kg", "weight_how"}:
            del self.fields[name]


class MissedForm(NextDateForm):
    submission_key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    attendance = forms.ChoiceField(label="Reason", choices=MISSED, widget=forms.RadioSelect)
    visited_on = DayField(label="Date of the missed visit")
    why_not = forms.CharField(label="Why", required=False, max_length=200)
    day_field = "visited_on"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["next_in"].label = "Next visit, after the missed one"
        del self.fields["no_next_because"]

    def clean(self) -> None:
        super().clean()
        hold(self, next_details_check, "next_on", "next_at", "transport")


class MissedCorrectionForm(MissedForm):
    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["submission_key"], self.fields["next_in"]
