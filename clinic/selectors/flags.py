"""Reading red flags: the questions of the list, and which answers are still owed."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet

from clinic.guidelines.cautions import RED_FLAGS
from clinic.models import Person, RedFlag

__all__ = ["QUESTIONS", "flag_urgency", "flag_words", "flags_open"]

#: Key -> question of the one list, in the order it is asked.
QUESTIONS: dict[str, str] = {flag.id: flag.question for flag in RED_FLAGS}
_URGENCY = {flag.id: flag.urgency for flag in RED_FLAGS}


def flags_open(person: Person) -> QuerySet[RedFlag]:
    """Red flags of a person that nobody has answered yet, oldest first."""
    return person.red_flags.filter(answer="").order_by("raised_at", "pk")


def flag_words(flags: Iterable[str]) -> list[str]:
    """What was ticked, in the words and the order of the list; an old key stays readable as it is."""
    ticked = list(flags)
    known = [QUESTIONS[key] for key in QUESTIONS if key in ticked]
    return known + [key.replace("_", " ") for key in ticked if key not in QUESTIONS]


def flag_urgency(flags: Iterable[str]) -> str:
    """The most pressing urgency among the flags; an unknown key counts as immediate."""
    urgencies = {_URGENCY.get(key, "immediate") for key in flags}
    return "immediate" if "immediate" in urgencies else "one_working_day"
