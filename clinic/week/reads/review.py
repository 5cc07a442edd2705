"""The podiatrist's work list: every open lesion of a site, the worrying ones first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.text import capfirst

from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.guidelines.due import area_too_old, back_on_review, confirmable_from, sealed_past
from clinic.models import (
    OPEN_STATES,
    Lesion,
    LesionState,
    Look,
    PersonState,
    Prescription,
    RedFlag,
    ReviewNote,
    Site,
)
from clinic.record.dates import day_words
from clinic.record.glossary import VERDICTS
from clinic.week.reads.review_due import DUE, Due, Surroundings, due_for, surroundings_of
from clinic.week.reads.urgency import CALM, Urgency, flag_limit, urgency, urgent_order

__all__ = ["CONCERNS", "ReviewFilter", "ReviewGroup", "ReviewList", "ReviewRow", "review_list"]

SPARK_VISITS = 8
#: Concern -> words of its heading, in the order of the list.
CONCERNS: dict[str, str] = {
    "stop": "Urgent",
    "look": "Question to podiatrist",
    "worsening": capfirst(VERDICTS["worsening"].words),
    "stalled": capfirst(VERDICTS["stalled"].words),
    "slow": capfirst(VERDICTS["slow"].words),
    "unmeasured": "No area for more than 14 days",
    "due": "Something due",
    "too_early": capfirst(VERDICTS["too_early"].words),
    "to_confirm": capfirst(VERDICTS["to_confirm"].words),
    "on_course": capfirst(VERDICTS["on_course"].words),
}


@dataclass(frozen=True)
class ReviewFilter:
    """What of the list to show; empty shows all."""

    concern: str = ""
    due: str = ""
    device: str = ""

    def __bool__(self) -> bool:
        return bool(self.concern or self.due or self.device)

    def takes(self, row: ReviewRow) -> bool:
        device = row.device.device_class if row.device else "none"
        return (
            self.concern in ("", row.concern)
            and (not self.due or any(due.kind == self.due for due in row.due))
            and self.device in ("", device)
        )


@dataclass(frozen=True)
class ReviewRow:
    """One open lesion with why it stands where it does."""

    healing: LesionHealing
    concern: str
    reasons: tuple[str, ...]
    due: tuple[Due, ...]
    areas: tuple[tuple[date, float | None], ...]
    device: Prescription | None
    days_since_visit: int | None
    seen: ReviewNote | None = None
    look: Look | None = None
    #: How many of the reasons, the first ones, are urgent.
    urgent: int = 0
    #: Of the most urgent of them.
    urgency: Urgency = CALM

    @property
    def lesion(self) -> Lesion:
        return self.healing.lesion

    @property
    def may_be_seen(self) -> bool:
        """A stop or a question cannot be set aside by a note; it ends when its cause does."""
        return self.concern not in ("stop", "look")

    @property
    def shown_first(self) -> int:
        """Reasons that stand open on the list: all that is urgent about a foot, of the others the first."""
        return max(self.urgent, 1)

    @property
    def back_on(self) -> date | None:
        return back_on_review(self.seen.seen_on) if self.seen else None

    @property
    def visit_words(self) -> str:
        days = self.days_since_visit
        if days is None:
            return "no visit yet"
        return "seen today" if days == 0 else f"last visit {days} day{'' if days == 1 else 's'} ago"

    @property
    def shown(self) -> dict[str, Any]:
        """What the page says of this row, flat: a template finds a name in a dictionary at once."""
        lesion, last = self.lesion, self.healing.last
        person, device = lesion.limb.person, self.device
        return {
            "key": str(lesion.pk),
            "name": f"{person.family_name}, {person.given_name}: {lesion.label}",
            "where": capfirst(lesion.where),
            "number": person.record_number,
            "kind": self.healing.kind,
            "words": self.healing.words,
            "look": self.look,
            "first": self.reasons[: self.shown_first],
            "more": self.reasons[self.shown_first :],
            "due": self.due,
            "device": device,
            "device_words": str(device) if device else "",
            "unfitted": device is not None and not device.fitted_on,
            "visit": self.visit_words,
            "seen": self.seen,
            "back_on": self.back_on,
            "may_be_seen": self.may_be_seen,
            "concern": self.concern,
            "areas": self.areas,
            "area": last.area_cm2 if last and not last.covered_dry else None,
            "no_area": "no area" if last is None else "covered" if last.covered_dry else "not measured",
        }

    @property
    def order(self) -> tuple[Any, ...]:
        """Order inside a concern: what is urgent as on Today, the rest by worry."""
        named = urgent_order(self.urgency, self.lesion.limb.person) if self.urgent else ()
        return named, self.worry

    @property
    def worry(self) -> tuple[float, int, int]:
        """Order inside a concern that is not urgent: least likely to close in 8 weeks first, then longest
        unseen, then as registered.
        """
        forecast = self.healing.report.forecast if self.healing.report else None
        days = 10_000 if self.days_since_visit is None else self.days_since_visit
        return (0.0 if forecast is None else forecast.chance_next_8w, -days, self.lesion.pk)


@dataclass(frozen=True)
class ReviewGroup:
    concern: str
    words: str
    rows: tuple[ReviewRow, ...]


@dataclass(frozen=True)
class ReviewList:
    """The whole list: groups to look at, those seen lately, and how many there are of each."""

    groups: tuple[ReviewGroup, ...]
    seen: tuple[ReviewRow, ...]
    total: int
    shown: int
    concerns: tuple[tuple[str, str, int], ...]
    dues: tuple[tuple[str, str, int], ...]
    devices: tuple[tuple[str, str], ...]

    def row_of(self, lesion: Lesion) -> ReviewRow | None:
        rows = [row for group in self.groups for row in group.rows]
        return next((row for row in (*rows, *self.seen) if row.lesion.pk == lesion.pk), None)


def _open_flags(people: Any, site: Site) -> dict[int, datetime]:
    """Of who has an unanswered red flag: until when the first of theirs is to be answered."""
    found: dict[int, datetime] = {}
    flags = RedFlag.objects.standing().filter(person__in=people, answer="")
    for person, raised_at, ticked in flags.values_list("person_id", "raised_at", "flags"):
        limit = flag_limit(raised_at, ticked, site)
        found[person] = min(found.get(person, limit), limit)
    return found


def _notes(lesions: Any) -> QuerySet[Any, Any]:
    return ReviewNote.objects.filter(lesion__in=lesions).select_related("created_by").order_by("pk")


def _open_looks(lesions: Any) -> QuerySet[Any, Any]:
    return Look.objects.filter(lesion__in=lesions, answer="").select_related("created_by")


def review_list(site: Site, today: date, filter_: ReviewFilter | None = None) -> ReviewList:
    """Open lesions of people in care, by concern; twenty queries at most, whatever their number."""
    lesions = list(
        Lesion.objects.filter(
            limb__person__site=site, limb__person__state=PersonState.IN_CARE, state__in=OPEN_STATES
        )
        .select_related("limb__person")
        .order_by("limb__person__family_name", "limb__person__given_name", "label")
    )
    judged, around = healings_of(lesions), surroundings_of(lesions, today)
    numbers = [lesion.pk for lesion in lesions]
    flags = _open_flags({lesion.limb.person_id for lesion in lesions}, site)
    notes: dict[int, ReviewNote] = {note.lesion_id: note for note in _notes(numbers)}
    looks: dict[int, Look] = {look.lesion_id: look for look in _open_looks(numbers)}
    every = [
        _row(
            judged[lesion.pk],
            around,
            flags.get(lesion.limb.person_id),
            notes.get(lesion.pk),
            looks.get(lesion.pk),
            today,
            site,
        )
        for lesion in lesions
    ]
    wanted = [row for row in every if filter_ is None or filter_.takes(row)]
    open_rows = sorted((row for row in wanted if row.seen is None), key=lambda row: row.order)
    return ReviewList(
        groups=tuple(
            ReviewGroup(concern, words, tuple(row for row in open_rows if row.concern == concern))
            for concern, words in CONCERNS.items()
            if any(row.concern == concern for row in open_rows)
        ),
        seen=tuple(sorted((row for row in wanted if row.seen), key=lambda row: row.back_on or today)),
        total=len(every),
        shown=len(wanted),
        concerns=_counts(CONCERNS, Counter(row.concern for row in every)),
        dues=_counts(DUE, Counter(kind for row in every for kind in {due.kind for due in row.due})),
        devices=_devices(every),
    )


def _counts(words: dict[str, str], counted: Counter[str]) -> tuple[tuple[str, str, int], ...]:
    return tuple((key, label, counted[key]) for key, label in words.items() if counted[key])


def _devices(rows: Sequence[ReviewRow]) -> tuple[tuple[str, str], ...]:
    used = {row.device.device_class: row.device for row in rows if row.device}
    found = {key: str(device) for key, device in used.items()}
    none = [("none", "No device")] if any(row.device is None for row in rows) else []
    return (*sorted(found.items(), key=lambda pair: pair[1]), *none)


def _row(
    healing: LesionHealing,
    around: Surroundings,
    flagged: datetime | None,
    note: ReviewNote | None,
    look: Look | None,
    today: date,
    site: Site,
) -> ReviewRow:
    person = healing.lesion.limb.person_id
    device, came = around.device.get(healing.lesion.limb_id), around.came.get(person)
    stops = dict(_stops(device, flagged, today))
    old, due = _unmeasured(healing, today), due_for(healing, around, site, today)
    concern = healing.kind
    if stops:
        concern = "stop"
    elif look:
        concern = "look"
    elif concern in ("too_early", "on_course"):
        concern = "unmeasured" if old else "due" if due else concern
    return ReviewRow(
        healing=healing,
        concern=concern,
        reasons=(*stops, *_reasons(healing, old, today, site)),
        due=due,
        areas=tuple((one.day, one.area_cm2) for one in healing.readings[-SPARK_VISITS:]),
        device=device,
        days_since_visit=(today - came).days if came else None,
        look=look,
        urgent=len(stops),
        urgency=min(stops.values(), default=CALM),
        seen=note if _still_seen(note, concern, around, person, today) else None,
    )


def _still_seen(
    note: ReviewNote | None, concern: str, around: Surroundings, person: int, today: date
) -> bool:
    """Whether a look still holds: same concern, no visit made since, not older than a fortnight, no stop."""
    if note is None or concern in ("stop", "look") or note.concern != concern:
        return False
    if today >= back_on_review(note.seen_on):
        return False
    logged = around.logged.get(person)
    return logged is None or logged <= note.created_at


def _stops(
    device: Prescription | None, flagged: datetime | None, today: date
) -> Iterable[tuple[str, Urgency]]:
    """What is urgent, in words, the worst first."""
    if flagged:
        yield "A red flag of this patient is not answered.", urgency("answer_flag", flagged)
    if device and device.open_by and device.stays_closed and sealed_past(device.open_by, today):
        words = f"Non-removable device was to be opened by {day_words(device.open_by)}: open it today."
        yield words, urgency("open_sealed_now", device.open_by)


def _unmeasured(healing: LesionHealing, today: date) -> str:
    """Why the last area is too old to judge by, or nothing."""
    if healing.lesion.state != LesionState.OPEN:
        return ""
    last = healing.areas[-1].day if healing.areas else None
    since = last or healing.lesion.first_seen_on
    days = (today - since).days
    if not area_too_old(since, today):
        return ""
    if last is None:
        return f"No area yet, {days} days after the ulcer was first seen."
    return f"Last area {days} days ago."


def _reasons(healing: LesionHealing, old: str, today: date, site: Site) -> Iterable[str]:
    if old:
        yield old
    closed_on = healing.lesion.closed_on
    if healing.lesion.state == LesionState.TO_CONFIRM and closed_on:
        due = confirmable_from(closed_on, site.confirm_closure_days)
        yield (
            f"Covered and dry since {day_words(closed_on)}; "
            + (f"can be confirmed from {day_words(due)}." if due > today else "confirmation is due.")
        )
    elif healing.report is None:
        if not old:
            yield "No area measured yet."
    else:
        yield from (reason.text for reason in healing.report.verdict.reasons)
        yield from (reason.text for reason in healing.report.review)
