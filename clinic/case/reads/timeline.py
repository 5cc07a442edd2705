"""What happened to a person, newest first: visits, events, devices, flags, contacts and calls in one list."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from clinic.models import (
    AntibioticCourse,
    Attendance,
    Contact,
    CourseStop,
    Event,
    IncomingCall,
    Person,
    Prescription,
    RedFlag,
    Result,
    Visit,
    VisitState,
)

__all__ = ["SHOWN_FIRST", "Happening", "Timeline", "timeline"]

SHOWN_FIRST = 15


@dataclass(frozen=True)
class Happening:
    """One line of the list."""

    day: date
    kind: str
    words: str
    route: str = ""
    pk: int | None = None
    in_error: bool = False


@dataclass(frozen=True)
class Timeline:
    happenings: list[Happening]
    cut: bool


def _visit(visit: Visit) -> Happening:
    if visit.attendance == Attendance.CAME:
        parts = []
        for m in visit.measurements.all():
            if m.covered_dry:
                parts.append(f"{m.lesion.label} covered and dry")
            elif m.area_cm2 is not None:
                parts.append(f"{m.lesion.label} {m.area_cm2:.2f} cm²")
            else:
                parts.append(f"{m.lesion.label} not measured")
        words = ", ".join(parts) or visit.get_attendance_display()
    else:
        words = visit.get_attendance_display() + (f": {visit.why_not}" if visit.why_not else "")
    return Happening(
        visit.visited_on,
        "Visit",
        words,
        "visit",
        visit.pk,
        in_error=visit.state == VisitState.IN_ERROR,
    )


def _event(event: Event) -> Happening:
    where = f", ulcer {event.lesion.label}" if event.lesion else ""
    note = f": {event.note}" if event.note else ""
    words = f"{event.get_kind_display()}, {event.limb.get_side_display().lower()} foot{where}{note}"
    return Happening(event.happened_on, "Event", words, "lesion" if event.lesion_id else "", event.lesion_id)


def _device(row: Prescription) -> Iterable[Happening]:
    words = f"{row.get_device_class_display()}, {row.limb.get_side_display().lower()} foot"
    yield Happening(row.prescribed_on, "Device prescribed", words, "prescription", row.pk)
    if row.stopped_on:
        why = row.stop_told.lower()
        yield Happening(row.stopped_on, "Device stopped", f"{words}: {why}", "prescription", row.pk)


def _flag(flag: RedFlag) -> Happening:
    words = flag.get_answer_display() or "unanswered"
    return Happening(
        timezone.localdate(flag.raised_at),
        "Red flag",
        words,
        "" if flag.answer else "flag_answer",
        flag.pk,
    )


def _result(result: Result) -> Happening:
    words = f"{result.label}: {result.get_reading_display().lower()}"
    return Happening(result.result_on or result.requested_on, "Result", words, "result", result.pk)


def _course(course: AntibioticCourse) -> Iterable[Happening]:
    words = f"{course}, ulcer {course.lesion.label}"
    in_error = course.stop_reason == CourseStop.IN_ERROR
    yield Happening(course.started_on, "Antibiotic started", words, "antibiotic", course.pk, in_error)
    if course.stopped_on and not in_error:
        why = course.get_stop_reason_display().lower()
        yield Happening(course.stopped_on, "Antibiotic stopped", f"{words}: {why}", "antibiotic", course.pk)


def _contact(contact: Contact) -> Happening:
    return Happening(timezone.localdate(contact.tried_at), "Contact", str(contact))


def _call(call: IncomingCall) -> Happening:
    words = f"{call.get_about_display()}: {call.get_done_display() or 'unanswered'}"
    return Happening(timezone.localdate(call.called_at), "Call", words, "call_answer", call.pk)


def timeline(person: Person, *, everything: bool = False) -> Timeline:
    """The newest happenings, or all of them (nine queries, whatever the size of the record)."""
    limit = None if everything else SHOWN_FIRST + 1
    visits = person.visits.prefetch_related("measurements__lesion").order_by("-visited_on", "-pk")[:limit]
    events = Event.objects.filter(limb__person=person).select_related("limb", "lesion")[:limit]
    devices = Prescription.objects.filter(limb__person=person).select_related("limb")
    arrived = person.results.filter(result_on__isnull=False, withdrawn_on=None).order_by("-result_on")[:limit]
    courses = AntibioticCourse.objects.filter(lesion__limb__person=person).select_related("lesion")
    happenings = [
        *map(_visit, visits),
        *map(_event, events),
        # Every device: one prescribed long ago may have been stopped yesterday. They are few.
        *(happening for row in devices for happening in _device(row)),
        *map(_result, arrived),
        *(happening for row in courses for happening in _course(row)),
        *map(_flag, person.red_flags.standing()[:limit]),
        *map(_contact, person.contacts.standing()[:limit]),
        *map(_call, person.calls.all()[:limit]),
    ]
    happenings.sort(key=lambda h: h.day, reverse=True)
    if everything:
        return Timeline(happenings, cut=False)
    return Timeline(happenings[:SHOWN_FIRST], cut=len(happenings) > SHOWN_FIRST)
