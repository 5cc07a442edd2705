"""Which visit found a lesion covered and dry, and did a later one find it open?"""

from __future__ import annotations

from datetime import date

from django.db.models import Q, QuerySet

from clinic.models import OPEN_STATES, Lesion, Measurement, Prescription, Visit, VisitState

__all__ = ["FOUND_OPEN", "covered_on", "covered_visit", "needed_by_no_other", "open_after"]

#: How the history names the reopening of an ulcer to confirm that a visit found open.
FOUND_OPEN = "a visit found it open"
_COVERED = Q(covered_dry=True) | Q(area_mm2=0)


def _found(lesion: Lesion) -> QuerySet[Measurement]:
    """What standing visits found at the lesion, in the order of their days."""
    return lesion.measurements.filter(visit__state=VisitState.STANDS).select_related("visit")


def covered_visit(lesion: Lesion, day: date) -> Visit | None:
    """The visit of that day that found the lesion covered and dry."""
    found = _found(lesion).filter(_COVERED, visit__visited_on=day).first()
    return found.visit if found else None


def covered_on(lesion: Lesion) -> date | None:
    """The day of the last visit that found the lesion covered and dry; None if none did."""
    found = _found(lesion).filter(_COVERED).last()
    return found.visit.visited_on if found else None


def open_after(lesion: Lesion, day: date, *, but: Visit | None = None) -> Measurement | None:
    """The newest open area of a visit after that day; `but`: of another visit than this one."""
    found = _found(lesion).filter(visit__visited_on__gt=day, area_mm2__gt=0)
    return found.exclude(visit=but).last() if but else found.last()


def needed_by_no_other(lesion: Lesion) -> Prescription | None:
    """The device the foot is in, where no other ulcer of the foot is open."""
    if Lesion.objects.filter(limb=lesion.limb_id, state__in=OPEN_STATES).exclude(pk=lesion.pk).exists():
        return None
    return Prescription.objects.filter(limb=lesion.limb_id, stopped_on=None).first()
