"""What the audit counts: prescriptions of a period and the lesions they name, each as one case with its links."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Prefetch, Q, QuerySet
from django.db.models.fields.json import KeyTransform

from clinic.models import (
    Attendance,
    DeviceClass,
    Lesion,
    LesionOutcome,
    LesionState,
    Measurement,
    Person,
    PersonState,
    Prescription,
    Site,
    User,
    Visit,
    VisitState,
)

__all__ = [
    "OUTCOMES", "AuditFilter", "Case", "LesionCase", "PrescriptionCase", "Read", "class_words", "prescribers", "read",
]  # fmt: skip

REVIEW_DAYS = 7
FOUR_WEEKS = (21, 35)
#: Key -> words, in the order of the table.
OUTCOMES: dict[str, str] = {
    "healed": "Healed",
    "to_confirm": "Closed, to confirm",
    "open": "Open",
    "amputation": "Amputation",
    "died": "Died",
    "moved": "Moved",
    "lost": "Lost",
}
_ENDED = {
    LesionOutcome.HEALED: "healed",
    LesionOutcome.MINOR_AMPUTATION: "amputation",
    LesionOutcome.MAJOR_AMPUTATION: "amputation",
    LesionOutcome.DIED: "died",
    LesionOutcome.MOVED: "moved",
    LesionOutcome.LOST: "lost",
}
_AGREEMENT = {True: "agreed", False: "departed", None: "cannot be judged"}
_HEAVY = ("facts", "advice", "forecast_shown")


@dataclass(frozen=True)
class AuditFilter:
    """Which prescriptions the audit is about."""

    site: Site
    since: date
    until: date
    device_class: str = ""
    prescriber: int | None = None


@dataclass(frozen=True)
class Case:
    """One line behind a figure: a prescription, or a lesion with its first device."""

    prescription: Prescription
    person: Person
    lesion: Lesion | None = None
    outcome: str = ""
    days: int | None = None

    @property
    def agreement(self) -> str:
        return _AGREEMENT[self.prescription.agrees]

    @property
    def outcome_words(self) -> str:
        return OUTCOMES.get(self.outcome, "")


@dataclass(frozen=True)
class PrescriptionCase:
    """A prescription of the period with what followed its fitting."""

    prescription: Prescription
    missing: tuple[str, ...]
    review: str  # in_time, late, not_due, not_fitted

    @property
    def case(self) -> Case:
        return Case(self.prescription, self.prescription.limb.person)


@dataclass(frozen=True)
class LesionCase:
    """A lesion named on a prescription of the period, counted by its first fitted device."""

    lesion: Lesion
    person: Person
    first: Prescription
    fitted: bool
    outcome: str
    days: int | None
    four_week: str  # recorded, missing, not_due

    @property
    def first_class(self) -> str:
        return self.first.device_class if self.fitted else ""

    @property
    def case(self) -> Case:
        return Case(self.first, self.person, self.lesion, self.outcome, self.days)


@dataclass(frozen=True)
class Read:
    prescriptions: tuple[PrescriptionCase, ...]
    lesions: tuple[LesionCase, ...]


def prescribers(site: Site) -> QuerySet[User]:
    """Everyone who has signed a prescription at the site."""
    signed = Prescription.objects.filter(limb__person__site=site).values("signed_by")
    return User.objects.filter(pk__in=signed).order_by("last_name", "first_name", "username")


def _selected(asked: AuditFilter) -> QuerySet[Any]:
    rows = Prescription.objects.filter(
        limb__person__site=asked.site, prescribed_on__gte=asked.since, prescribed_on__lte=asked.until
    )
    if asked.device_class:
        rows = rows.filter(device_class=asked.device_class)
    if asked.prescriber is not None:
        rows = rows.filter(signed_by=asked.prescriber)
    return rows.order_by("-prescribed_on", "-pk")


def _outcome(lesion: Lesion, person: Person) -> str:
    if lesion.state == LesionState.HEALED:
        return "healed"
    if lesion.state == LesionState.ENDED:
        return _ENDED[LesionOutcome(lesion.outcome)]
    if person.state != PersonState.IN_CARE:
        return "died" if person.state == PersonState.DIED else "moved"
    return "to_confirm" if lesion.state == LesionState.TO_CONFIRM else "open"


def _review(prescription: Prescription, visits: Iterable[date], today: date) -> str:
    if prescription.fitted_on is None:
        return "not_fitted"
    last = prescription.fitted_on + timedelta(days=REVIEW_DAYS)
    if today <= last:
        return "not_due"
    return "in_time" if any(prescription.fitted_on < day <= last for day in visits) else "late"


def _four_week(lesion: Lesion, person: Person, areas: Iterable[date], today: date) -> str:
    first, last = (lesion.first_seen_on + timedelta(days=d) for d in FOUR_WEEKS)
    over = lesion.closed_on or lesion.ended_on or person.state_on
    if today <= last or (over is not None and over <= last):
        return "not_due"
    return "recorded" if any(first <= day <= last for day in areas) else "missing"


def _by_key(rows: Iterable[tuple[int, date]]) -> dict[int, list[date]]:
    found: dict[int, list[date]] = defaultdict(list)
    for key, day in rows:
        found[key].append(day)
    return found


def read(asked: AuditFilter, today: date) -> Read:
    """Every case of the filter; five queries whatever their number."""
    selected = _selected(asked)
    link = Prescription.lesions.through
    named = link.objects.filter(prescription__in=selected.values("pk")).values("lesion_id")
    prescribed = list(
        selected.select_related("limb__person", "signed_by")
        .annotate(missing_then=KeyTransform("missing", "advice"))
        .defer(*_HEAVY)
        .prefetch_related(
            Prefetch("lesions", queryset=Lesion.objects.select_related("limb__person", "episode"))
        )
    )
    visits = _by_key(
        Visit.objects.filter(
            person__in=selected.values("limb__person"),
            state=VisitState.STANDS,
            attendance=Attendance.CAME,
        ).values_list("person_id", "visited_on")
    )
    areas = _by_key(
        Measurement.objects.filter(
            Q(area_mm2__isnull=False) | Q(covered_dry=True),
            lesion__in=named,
            visit__state=VisitState.STANDS,
        ).values_list("lesion_id", "visit__visited_on")
    )
    devices: dict[int, list[Prescription]] = defaultdict(list)
    links: Any = (
        link.objects.filter(lesion__in=named)
        .select_related("prescription__signed_by")
        .defer(*(f"prescription__{name}" for name in _HEAVY))
        .order_by("prescription__prescribed_on", "prescription_id")
    )
    for row in links:
        devices[row.lesion_id].append(row.prescription)

    lesions: dict[int, LesionCase] = {}
    for prescription in prescribed:
        for lesion in prescription.lesions.all():
            if lesion.pk not in lesions:
                lesions[lesion.pk] = _lesion_case(lesion, devices[lesion.pk], areas[lesion.pk], today)
    return Read(
        prescriptions=tuple(
            PrescriptionCase(p, tuple(p.missing_then or ()), _review(p, visits[p.limb.person_id], today))
            for p in prescribed
        ),
        lesions=tuple(lesions.values()),
    )


def _lesion_case(lesion: Lesion, devices: list[Prescription], areas: list[date], today: date) -> LesionCase:
    person = lesion.limb.person
    fitted = sorted(
        (p for p in devices if p.fitted_on is not None), key=lambda p: (p.fitted_on or today, p.pk)
    )
    first = fitted[0] if fitted else devices[0]
    known_on = max(lesion.episode.first_assessed_on, lesion.first_seen_on)
    return LesionCase(
        lesion=lesion,
        person=person,
        first=first,
        fitted=bool(fitted),
        outcome=_outcome(lesion, person),
        days=max(0, (first.fitted_on - known_on).days) if fitted and first.fitted_on else None,
        four_week=_four_week(lesion, person, areas, today),
    )


def class_words(device_class: str) -> str:
    """A device class in words; empty is a lesion that never had a device fitted."""
    return str(DeviceClass(device_class).label) if device_class else "No device fitted"
