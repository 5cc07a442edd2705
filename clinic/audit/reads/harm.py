"""Harm beside healing: what went wrong while a device was on, over the weeks devices were on; and days
without one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import (
    Case,
    CharField,
    Count,
    DateField,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Greatest, Least

from clinic.audit.reads.cases import BASES, STANDS, AuditFilter, Base
from clinic.audit.reads.days import Days
from clinic.models import TRUE_LESIONS, Lesion, Looked, Prescription, StopReason, WoundKind

__all__ = ["HARM_BASES", "Uncovered", "device_days", "uncovered"]


def _end(wanted: AuditFilter, today: date) -> date:
    """The day after the last one counted."""
    return wanted.last_day(today) + timedelta(days=1)


def _day(day: date) -> Value:
    return Value(day, output_field=DateField())


def _worn(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Devices that were on for some of the period."""
    rows = Prescription.objects.filter(
        Q(stopped_on__isnull=True) | Q(stopped_on__gte=wanted.since),
        wanted.at("limb__person__site"),
        fitted_on__lt=_end(wanted, today),
    )
    if wanted.device_class:
        rows = rows.filter(device_class=wanted.device_class)
    if wanted.prescriber is not None:
        rows = rows.filter(signed_by=wanted.prescriber)
    end = _end(wanted, today)
    early = Q(stopped_on__gte=wanted.since, stopped_on__lt=end) & ~Q(
        stop_reason__in=[StopReason.HEALED, StopReason.CHANGED]
    )
    late = (
        Q(opened_on__gt=F("open_by"), opened_on__gte=wanted.since, opened_on__lt=end)
        | Q(opened_on__isnull=True, stopped_on__isnull=True, open_by__gte=wanted.since, open_by__lt=today)
        # Handed to another team, or lost, while it was still sealed past its day.
        | Q(
            opened_on__isnull=True,
            stopped_on__gt=F("open_by"),
            stopped_on__gte=wanted.since,
            stopped_on__lt=end,
        )
    )
    return rows.annotate(
        early=Case(When(early, then=F("stop_reason")), default=Value(""), output_field=CharField()),
        late=Case(When(late, then=Value("late")), default=Value(""), output_field=CharField()),
    )


def device_days(wanted: AuditFilter, today: date) -> int:
    """Days on which a device was on, in the period, over all devices [d]."""
    end = _day(_end(wanted, today))
    days = Days(Least(Coalesce("stopped_on", end), end), Greatest("fitted_on", _day(wanted.since)))
    return _worn(wanted, today).aggregate(days=Sum(Greatest(Value(0), days)))["days"] or 0


def _troubled(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Visits of the period that told of trouble, on a day on which a device was on."""
    devices = Prescription.objects.filter(
        Q(stopped_on__isnull=True) | Q(stopped_on__gte=OuterRef("visited_on")),
        limb__person=OuterRef("person"),
        fitted_on__lte=OuterRef("visited_on"),
    )
    if wanted.device_class:
        devices = devices.filter(device_class=wanted.device_class)
    if wanted.prescriber is not None:
        devices = devices.filter(signed_by=wanted.prescriber)
    return (
        BASES["visit"]
        .rows(wanted, today)
        .filter(
            STANDS,
            Q(fall=True) | Q(other_foot=Looked.PROBLEM) | Q(skin_under_device=Looked.PROBLEM),
            Exists(devices),
        )
    )


def _open_days(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Ulcers open for some of the period: the days they were, and those of them with a device fitted on
    the limb.
    """
    end, since = _day(_end(wanted, today)), _day(wanted.since)
    rows = Lesion.objects.filter(
        TRUE_LESIONS, wanted.at("limb__person__site"), wound_kind=WoundKind.ULCER
    ).annotate(
        known_on=Greatest("episode__first_assessed_on", "first_seen_on"),
        over=Coalesce("closed_on", "ended_on", "limb__person__state_on", end),
    )
    rows = rows.filter(known_on__lt=_end(wanted, today), over__gt=wanted.since).annotate(
        opens=Greatest("known_on", since), shuts=Least("over", end)
    )
    rows = rows.annotate(eligible=Greatest(Value(0), Days(F("shuts"), F("opens"))))
    worn = Prescription.objects.filter(limb=OuterRef("limb"), fitted_on__isnull=False).order_by()
    covered = Greatest(
        Value(0),
        Days(Least(Coalesce("stopped_on", end), OuterRef("shuts")), Greatest("fitted_on", OuterRef("opens"))),
    )
    summed = worn.values("limb").annotate(covered=Sum(covered)).values("covered")
    return rows.annotate(covered=Coalesce(Subquery(summed), Value(0))).annotate(
        bare=Case(
            When(covered__lt=F("eligible"), then=Value("bare")), default=Value(""), output_field=CharField()
        )
    )


@dataclass(frozen=True)
class Uncovered:
    """Ulcers open in the period, those of them with a day without a device, and the days of both."""

    ulcers: int
    bare_ulcers: int
    days: int
    bare_days: int


def uncovered(wanted: AuditFilter, today: date) -> Uncovered:
    """Days on which an ulcer was open, and those of them without a device fitted on its limb: one query."""
    found = _open_days(wanted, today).aggregate(
        ulcers=Count("pk"),
        bare_ulcers=Count("pk", filter=Q(covered__lt=F("eligible"))),
        open_days=Sum("eligible"),
        device_days=Sum("covered"),
    )
    days = found["open_days"] or 0
    return Uncovered(found["ulcers"], found["bare_ulcers"], days, days - (found["device_days"] or 0))


HARM_BASES: dict[str, Base] = {
    "worn": Base(_worn, ("early", "late"), "prescribed_on", ("limb__person", "signed_by"), "prescription"),
    "troubled": Base(
        _troubled, ("fall", "other_foot", "skin_under_device"), "visited_on", ("person",), "visit"
    ),
    "gap": Base(_open_days, ("bare",), "first_seen_on", ("limb__person", "episode"), "lesion"),
}
