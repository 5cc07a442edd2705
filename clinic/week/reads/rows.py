"""A row of Today and what it asks for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time

from clinic.models import Person
from clinic.record.messages import Filled, message_of
from clinic.week.reads.today_cases import LesionLine

__all__ = ["Ask", "TodayRow", "writable"]


@dataclass(frozen=True)
class Ask:
    """One thing a row asks for, from the table of messages, and where it is done."""

    message: Filled
    url_name: str = ""
    pk: int | str | None = None
    post: bool = False

    @property
    def words(self) -> str:
        return self.message.text

    @property
    def kind(self) -> str:
        return self.message.level


@dataclass(frozen=True)
class TodayRow:
    person: Person
    day: date | None
    words: str
    lesions: tuple[LesionLine, ...] = ()
    asks: tuple[Ask, ...] = ()
    #: Of an agreed visit: its time and how the person comes, where they were given.
    at: time | None = None
    transport: str = ""
    #: Of what is urgent: when its limit ends, where that is not `day`.
    limit: datetime | None = None


def writable(row: TodayRow) -> TodayRow:
    """The row; of a restricted record it asks for the manager only, for what else it asks is refused."""
    if not row.person.restricted_on or not row.asks:
        return row
    return replace(row, asks=(Ask(message_of("restricted_wait"), "person", row.person.pk),))
