"""Today by person: one row a person with everything that is open, in the loudest group it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, time
from types import MappingProxyType
from typing import Literal

from clinic.models import Person
from clinic.week.reads.answered import Answered
from clinic.week.reads.marks import MarkShown, marks_shown
from clinic.week.reads.rows import Ask, TodayRow
from clinic.week.reads.today import TodayLists
from clinic.week.reads.today_cases import LesionLine
from clinic.week.reads.urgency import CALM, Urgency, urgency, urgent_order

__all__ = ["GROUPS", "DayPerson", "Item", "people_of_today"]

Group = Literal["urgent", "due", "here", "overdue", "open", "coming", "done"]
#: The groups in the order of the page, with their headings.
GROUPS: dict[Group, str] = {
    "urgent": "Urgent",
    "due": "Expected today",
    "here": "Still in the clinic",
    "overdue": "Overdue",
    "open": "To be done",
    "coming": "Next 7 days",
    "done": "Answered today",
}


@dataclass(frozen=True)
class Item:
    """One open thing of a person: what it is, and what it asks for."""

    words: str
    asks: tuple[Ask, ...]
    urgency: Urgency

    @property
    def loud(self) -> bool:
        return self.urgency < CALM


@dataclass
class DayPerson:
    """One person of the day. A row stays until the last of its items is closed."""

    person: Person
    group: Group = "open"
    day: date | None = None
    at: time | None = None
    transport: str = ""
    lines: tuple[LesionLine, ...] = ()
    items: list[Item] = field(default_factory=list)
    visit: Ask | None = None
    #: Arrived, in room, left: of whoever is expected or was marked.
    marks: tuple[MarkShown, ...] = ()
    #: What was answered today and can be taken back.
    answered: tuple[Answered, ...] = ()

    @property
    def urgency(self) -> Urgency:
        """That of the most urgent of the items."""
        return min((item.urgency for item in self.items), default=CALM)


def people_of_today(
    lists: TodayLists, answered: Mapping[int, Sequence[Answered]] = MappingProxyType({})
) -> dict[Group, list[DayPerson]]:
    """Everybody on today's lists, each once, by group; no query.

    A person is urgent while one of their items is a stop; otherwise the date decides, and whoever has neither
    stands among what is to be done. Of whoever nothing is open any more, what was answered today stands last.
    """
    found: dict[int, DayPerson] = {}
    for group, row in _rows(lists):
        one = found.setdefault(row.person.pk, DayPerson(row.person, group))
        _add(one, group, row)
    for pk, answers in answered.items():
        person = lists.people.get(pk)
        if person is not None and not person.restricted_on:
            found.setdefault(pk, DayPerson(person, "done")).answered = tuple(answers)
    expected = {row.person.pk for row in (*lists.due, *lists.overdue, *lists.remission)}
    for pk, one in found.items():
        if (pk in expected and not one.person.restricted_on) or pk in lists.marks:
            one.marks = marks_shown(lists.marks.get(pk, ()))
    order = list(GROUPS)
    grouped: dict[Group, list[DayPerson]] = {group: [] for group in order}
    for one in found.values():
        grouped[one.group].append(one)
    for group, rows in grouped.items():
        rows.sort(
            key=lambda one: (one.day or date.max, one.at or time.max, one.person.family_name, one.person.pk)
        )
        if group == "urgent":
            rows.sort(key=lambda one: urgent_order(one.urgency, one.person))
    return grouped


def _rows(lists: TodayLists) -> Iterator[tuple[Group, TodayRow]]:
    """Rows with the group each alone would stand in, the loudest first."""
    for part in fields(lists.morning):
        for row in getattr(lists.morning, part.name):
            yield ("urgent" if any(ask.kind == "stop" for ask in row.asks) else "open"), row
    for row in lists.due:
        yield "due", row
    for row in lists.here:
        yield "here", row
    for row in lists.overdue:
        yield "overdue", row
    for row in lists.remission:
        yield ("due" if row.day == lists.day else "overdue"), row
    for row in lists.coming:
        yield "coming", row


def _add(one: DayPerson, group: Group, row: TodayRow) -> None:
    order = list(GROUPS)
    dated = group in ("due", "overdue", "coming")
    # "To be done" waits behind a date of today or before, and goes before one that is only coming.
    if order.index(group) < order.index(one.group):
        one.group = group
    if dated:
        one.day, one.at, one.transport = row.day, row.at, row.transport
    elif one.day is None:
        one.day = row.day
    one.lines = one.lines or row.lesions
    asks = []
    for ask in row.asks:
        if ask.url_name == "visit_new":
            one.visit = one.visit or ask
        else:
            asks.append(ask)
    stops = (ask.message.id for ask in row.asks if ask.kind == "stop")
    most = min((urgency(stop, row.limit or row.day) for stop in stops), default=CALM)
    one.items.append(Item(row.words, tuple(asks), most))
    # What is urgent first; the rest as it came.
    one.items.sort(key=lambda item: item.urgency)
