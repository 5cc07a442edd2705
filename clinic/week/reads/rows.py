"""A row of Today and what it asks for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.models import Person
from clinic.record.messages import Filled
from clinic.week.reads.today_cases import LesionLine

__all__ = ["Ask", "TodayRow"]


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
