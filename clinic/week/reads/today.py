"""Today: this morning's list that should be empty, then who is overdue, due, coming, or due in remission."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, time

from django.utils import timezone

from clinic.guidelines.due import days_overdue, fact_age, remission_due_on, sealed_past, visit_standing
from clinic.models import DayMark, Person, Site, User
from clinic.record.dates import day_words
from clinic.record.messages import message_of
from clinic.week.reads.marks import is_here, marks_of_day
from clinic.week.reads.morning import Ask, Morning, TodayRow, morning_of
from clinic.week.reads.morning_left import left_rows
from clinic.week.reads.rows import writable
from clinic.week.reads.today_cases import LesionLine, OpenCase, gather

__all__ = ["Ask", "LesionLine", "TodayLists", "TodayRow", "asks_of", "placed", "today_lists"]

#: The lists by date, named as the rule names how a visit stands.
_BY_DATE = ("overdue", "due", "coming")
#: Those of people who may come in today.
_UP_TO_TODAY = ("overdue", "due", "remission")


@dataclass(frozen=True)
class TodayLists:
    site: Site
    day: date
    morning: Morning
    overdue: tuple[TodayRow, ...]
    due: tuple[TodayRow, ...]
    coming: tuple[TodayRow, ...]
    remission: tuple[TodayRow, ...]
    #: Who came and has not left and has no date up to today, as after their visit.
    here: tuple[TodayRow, ...] = ()
    #: The marks of the day, by person.
    marks: dict[int, list[DayMark]] = field(default_factory=dict)
    #: Everybody in care, by number: whose answer of today is shown though nothing is open.
    people: dict[int, Person] = field(default_factory=dict)

    @property
    def flagged(self) -> tuple[TodayRow, ...]:
        """Red flags, then sealed devices past their day."""
        return (*self.morning.flags, *self.morning.sealed)

    @property
    def no_date(self) -> tuple[TodayRow, ...]:
        return self.morning.no_date


def today_lists(
    site: Site, day: date, now: datetime | None = None, *, signer: User | None = None
) -> TodayLists:
    """The lists of one site on one day for a reader, who may be a second signer (a fixed number of
    queries, whatever the number of people).
    """
    moment = now or _moment_of(day)
    cases = gather(site, day, moment)
    marks = marks_of_day(site, day)
    lists: dict[str, list[TodayRow]] = defaultdict(list)
    here = []
    for pk, case in cases.items():
        name, row = placed(case, day)
        if name:
            lists[name].append(writable(row))
        if name not in _UP_TO_TODAY and is_here(marks.get(pk, ())):
            words = "Visit recorded; not marked as left" if case.latest_on == day else "Not marked as left"
            here.append(TodayRow(case.person, None, words))
    by_day = {
        name: tuple(sorted(rows, key=lambda r: (r.day or date.max, r.person.family_name, r.person.pk)))
        for name, rows in lists.items()
    }
    return TodayLists(
        site=site,
        day=day,
        morning=morning_of(site, cases.values(), day, moment, signer, left_rows(site, moment)),
        here=tuple(here),
        marks=marks,
        people={pk: case.person for pk, case in cases.items()},
        **{name: by_day.get(name, ()) for name in (*_BY_DATE, "remission")},
    )


def _moment_of(day: date) -> datetime:
    """Now, if it is that day; else the end of it."""
    now = timezone.now()
    if timezone.localdate(now) == day:
        return now
    return timezone.make_aware(datetime.combine(day, time(23, 59)))


def placed(case: OpenCase, day: date) -> tuple[str, TodayRow]:
    """The one list by date a person stands on, if any. Without a next date they stand on this morning's
    list.
    """
    opening = min(
        (d.open_by for d in case.sealed if d.open_by and not sealed_past(d.open_by, day)), default=None
    )
    if not case.lesions and case.healed_on is not None:
        return _remission(case, case.healed_on, day)
    if case.next_on is None:
        return "", TodayRow(case.person, None, "")
    row_day = case.next_on if opening is None else min(case.next_on, opening)
    at, transport = (case.next_at, case.transport) if row_day == case.next_on else (None, "")
    row = TodayRow(
        case.person, row_day, _date_words(row_day, day), case.lines, asks_of(case, day), at, transport
    )
    standing = visit_standing(row_day, day, in_care=True, open_lesions=bool(case.lesions))
    return (standing if standing in _BY_DATE else ""), row


def _remission(case: OpenCase, healed_on: date, day: date) -> tuple[str, TodayRow]:
    seen = max(case.latest_on or healed_on, healed_on)
    due = case.next_on or remission_due_on(seen, case.interval_days)
    words = f"Healed {day_words(healed_on)}; due {day_words(due)}"
    if case.risk_words:
        words += f"; {case.risk_words}"
    ask = Ask(message_of("log_visit"), "visit_new", case.person.pk)
    standing = visit_standing(due, day, in_care=True, open_lesions=False)
    return ("remission" if standing in ("overdue", "due") else ""), TodayRow(
        case.person, due, words, (), (ask,), case.next_at, case.transport
    )


def asks_of(case: OpenCase, day: date) -> tuple[Ask, ...]:
    """What a row by date asks for; what stands on this morning's list is not message_of again here."""
    asks = [Ask(message_of("log_visit"), "visit_new", case.person.pk)]
    asks += [
        Ask(message_of("open_sealed_today", side=d.limb.side), "prescription_open", d.pk)
        for d in case.sealed
        if d.open_by == day
    ]
    asks += [Ask(message_of("sign_plan"), "plan", link.plan.code) for link in case.drafts]
    return (*asks, *_weight_ask(case, day))


def _weight_ask(case: OpenCase, day: date) -> list[Ask]:
    if case.weighed_on is None:
        return [Ask(message_of("no_weight"))]
    if fact_age(case.weighed_on, case.person.site.weight_fresh_days, day) == "fresh":
        return []
    return [Ask(message_of("weight_old", weeks=(day - case.weighed_on).days // 7))]


def _date_words(due: date, day: date) -> str:
    late = days_overdue(due, day)
    if late:
        return f"Was due {day_words(due)}, {late} day{'s' if late != 1 else ''} ago"
    return "Due today" if due == day else f"Due {day_words(due)}"
