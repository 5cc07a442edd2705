"""Everything one visit left on the record, listed from the rows: what taking it back has to take along."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.alerts.reads.flags import flag_words
from clinic.lesions.writes.closure_back import closed_before, rests_on
from clinic.models import (
    AntibioticCourse,
    Event,
    Lesion,
    Person,
    Photo,
    Prescription,
    Result,
    Visit,
)
from clinic.record.dates import day_words

__all__ = ["CONTACT_WHY", "VisitTrace", "next_date_agreed_apart", "traces_of"]

#: The reason in the history of a visit whose next date a contact agreed.
CONTACT_WHY = "next date agreed in a contact"


@dataclass(frozen=True)
class VisitTrace:
    """One thing a visit left.

    `own`: the visit's own write made it; otherwise it was entered apart on the same day, and nobody but the
    reader knows whether it goes with the visit. `goes`: it cannot stay without the visit. `route`: where it
    is settled by itself; a trace without `can_go` is only settled there.
    """

    key: str
    kind: str
    words: str
    row: Any
    own: bool = True
    goes: bool = False
    can_go: bool = True
    route: str = ""
    pk: int = 0
    day: date | None = None


def traces_of(visit: Visit) -> list[VisitTrace]:
    """The traces of one visit in the order they are taken back (fixed queries, and one a device)."""
    return [
        *_areas(visit),
        *_watched(visit),
        *_next_date(visit),
        *_weights(visit),
        *_photos(visit),
        *_red_flags(visit),
        *_plan_flags(visit),
        *_sealings(visit),
        *_openings(visit),
        *_closings(visit),
        *_reopenings(visit),
        *_same_day(visit),
    ]


def _areas(visit: Visit) -> Iterator[VisitTrace]:
    for row in visit.measurements.select_related("lesion"):
        if row.covered_dry:
            words = "covered and dry"
        elif row.area_mm2 is None:
            words = "not measured"
        else:
            words = f"{row.area_mm2 / 100:.2f} cm²" + (", traced on a photo" if row.trace_id else "")
        yield VisitTrace(f"area-{row.pk}", "Findings", f"Ulcer {row.lesion.label}: {words}", row, goes=True)


def _watched(visit: Visit) -> Iterator[VisitTrace]:
    for row in visit.watch_findings.select_related("point"):
        words = f"{row.point.words}: {row.get_found_display().lower()}"
        yield VisitTrace(f"watch-{row.pk}", "Watch point", words, row, goes=True)


def _next_date(visit: Visit) -> Iterator[VisitTrace]:
    if visit.next_on is None:
        return
    apart = ", agreed in a contact since" if next_date_agreed_apart(visit) else ""
    yield VisitTrace("next", "Next visit", f"{day_words(visit.next_on)}{apart}", visit, own=not apart)


def next_date_agreed_apart(visit: Visit) -> bool:
    """Whether the next date that a visit carries was agreed in a contact, not at the visit."""
    last = visit.history.order_by("-history_id")
    for copy in last:
        if copy.next_on != visit.next_on:
            return False
        if copy.history_change_reason == CONTACT_WHY:
            return True
    return False


def _weights(visit: Visit) -> Iterator[VisitTrace]:
    apart = visit.person.weights.standing().filter(measured_on=visit.visited_on, visit=None)
    for own, rows in ((True, visit.weights.standing()), (False, apart)):
        for row in rows:
            words = f"{row.kg} kg, {row.get_how_display().lower()}"
            yield VisitTrace(
                f"{'weight' if own else 'dayweight'}-{row.pk}",
                "Weight" if own else "Weight of that day",
                words,
                row,
                own=own,
                route="weight_correct",
                pk=row.pk,
            )


def _photos(visit: Visit) -> Iterator[VisitTrace]:
    apart = Photo.objects.standing().filter(
        lesion__limb__person=visit.person_id, taken_on=visit.visited_on, visit=None
    )
    for own, rows in ((True, visit.photos.standing()), (False, apart)):
        for row in rows.select_related("lesion__limb__person__site"):
            yield VisitTrace(
                f"{'photo' if own else 'dayphoto'}-{row.pk}",
                "Photo" if own else "Photo of that day",
                f"of ulcer {row.lesion.label}",
                row,
                own=own,
                route="photo_correct",
                pk=row.pk,
            )


def _red_flags(visit: Visit) -> Iterator[VisitTrace]:
    for row in visit.red_flags.standing().order_by("pk"):
        answer = row.get_answer_display().lower() if row.answer else "not answered"
        words = f"{'; '.join(flag_words(row.flags))} ({answer})"
        yield VisitTrace(f"flag-{row.pk}", "Red flag", words, row, route="flag_answer", pk=row.pk)


def _plan_flags(visit: Visit) -> Iterator[VisitTrace]:
    rows = visit.plan_flags.standing().select_related("limb_plan__limb__person__site", "limb_plan__plan")
    for row in rows:
        yield VisitTrace(f"plan-flag-{row.pk}", "Question over a relief plan", row.words, row, goes=True)


def _device(row: Prescription) -> str:
    return f"{row.get_device_class_display()}, {row.limb.get_side_display().lower()} foot"


def _sealings(visit: Visit) -> Iterator[VisitTrace]:
    """Devices sealed that day, with the dressing off at the visit: entered on the page of the device."""
    rows = Prescription.objects.filter(
        limb__person=visit.person_id, sealed_on=visit.visited_on, opened_on=None, stopped_on=None
    )
    for row in rows.select_related("limb__person__site"):
        until = f", to be opened by {day_words(row.open_by)}" if row.open_by else ""
        yield VisitTrace(
            f"sealing-{row.pk}",
            "Sealed that day",
            f"{_device(row)}{until}",
            row,
            own=False,
            route="prescription",
            pk=row.pk,
        )


def _openings(visit: Visit) -> Iterator[VisitTrace]:
    """Devices this visit opened; one sealed again that day shows its opening in its history only."""
    rows = visit.opened_devices.filter(opened_on__isnull=False).select_related("limb__person__site")
    for row in rows:
        words = f"{_device(row)}: opened, its clock stopped"
        yield VisitTrace(f"opening-{row.pk}", "Opening", words, row, route="prescription", pk=row.pk)
    apart = Prescription.objects.filter(
        limb__person=visit.person_id, opened_on=visit.visited_on, opened_visit=None, stopped_on=None
    )
    for row in apart.select_related("limb__person__site"):
        yield VisitTrace(
            f"dayopening-{row.pk}",
            "Opened that day",
            f"{_device(row)}: its clock stopped",
            row,
            own=False,
            route="prescription",
            pk=row.pk,
        )
    again = Prescription.objects.filter(
        pk__in=set(Prescription.history.filter(opened_visit=visit.pk).values_list("id", flat=True)),
        limb__person=visit.person_id,
        sealed_on=visit.visited_on,
        opened_on=None,
        stopped_on=None,
    )
    for row in again.select_related("limb__person__site"):
        words = f"{_device(row)}: opened, then sealed again that day; taken back with the sealing"
        yield VisitTrace(f"opening-{row.pk}", "Opening", words, row, route="prescription", pk=row.pk)


def _closings(visit: Visit) -> Iterator[VisitTrace]:
    covered = visit.measurements.filter(covered_dry=True).values("lesion")
    for row in Lesion.objects.filter(pk__in=covered).select_related("limb__person__site", "episode"):
        if rests_on(row, visit.visited_on):
            did = "closed" if row.closed_on == visit.visited_on else "confirmed healed"
            words = f"Ulcer {row.label} was {did} on what this visit found"
            yield VisitTrace(
                f"closing-{row.pk}",
                "Closing",
                words,
                row,
                False,
                True,
                True,
                "lesion",
                row.pk,
                visit.visited_on,
            )


def _reopenings(visit: Visit) -> Iterator[VisitTrace]:
    found = visit.measurements.filter(area_mm2__gt=0).values("lesion")
    rows = Lesion.objects.filter(pk__in=found, reopened_on=visit.visited_on)
    for row in rows.select_related("limb__person__site", "episode"):
        closed_on = closed_before(row, visit.visited_on, but=visit)
        if closed_on is not None:
            words = (
                f"Ulcer {row.label} was reopened on what this visit found: closed on {day_words(closed_on)}"
            )
            yield VisitTrace(
                f"reopening-{row.pk}",
                "Reopening",
                f"{words}, it waits to be confirmed again",
                row,
                goes=True,
                route="lesion",
                pk=row.pk,
                day=visit.visited_on,
            )


def _same_day(visit: Visit) -> Iterator[VisitTrace]:
    """Entered apart on the same day; the first kind can be withdrawn here, the others on their own page."""
    person: Person = visit.person
    day = visit.visited_on
    for result in Result.objects.filter(person=person, requested_on=day, withdrawn_on=None):
        yield VisitTrace(
            f"result-{result.pk}",
            "Test requested that day",
            result.label,
            result,
            own=False,
            route="result",
            pk=result.pk,
        )
    for course in AntibioticCourse.objects.filter(lesion__limb__person=person, started_on=day):
        yield VisitTrace(
            f"course-{course.pk}",
            "Antibiotic started that day",
            str(course),
            course,
            own=False,
            can_go=False,
            route="antibiotic",
            pk=course.pk,
        )
    for event in Event.objects.filter(limb__person=person, happened_on=day).select_related("lesion"):
        yield VisitTrace(
            f"event-{event.pk}",
            "Event of that day",
            f"{event.get_kind_display()}{f': {event.note}' if event.note else ''}",
            event,
            own=False,
            can_go=False,
            route="lesion" if event.lesion_id else "",
            pk=event.lesion_id or 0,
        )
