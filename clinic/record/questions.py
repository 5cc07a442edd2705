"""A question about a typed value, asked once before it is saved: right as typed? Never a refusal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.http import QueryDict

from clinic.guidelines.plausible import slip_of_ten, weight_change
from clinic.record.dates import day_words

__all__ = ["ANSWER", "Question", "answers_of", "slip_question", "unanswered", "weight_question"]

#: Name under which a page sends back what it was asked: the second press of the same values is the answer.
ANSWER = "as_typed"


@dataclass(frozen=True)
class Question:
    """Which field, with which value, is asked about, and in which words."""

    field: str
    value: str
    words: str

    @property
    def token(self) -> str:
        """What the page sends back; another value makes another question."""
        return f"{self.field}={self.value}"


def unanswered(questions: Iterable[Question], data: QueryDict) -> bool:
    """Whether one of them was not shown yet with this very value."""
    shown = set(data.getlist(ANSWER))
    return any(one.token not in shown for one in questions)


def answers_of(questions: Iterable[Question], data: QueryDict) -> list[str]:
    """What the page sends back the next time: all that was shown so far, in order, each once."""
    return list(dict.fromkeys([*data.getlist(ANSWER), *(one.token for one in questions)]))


def slip_question(
    field: str, label: str, unit: str, last: Decimal | float | None, now: Decimal | float | None, on: date
) -> Sequence[Question]:
    """About a value that is ten times, or a tenth of, the last one."""
    if last is None or now is None or not slip_of_ten(float(last), float(now)):
        return ()
    old, new = float(last), float(now)
    then = f"{old:g} {unit} on {day_words(on)}"
    if max(old, new) < 50 * min(old, new):
        how = "ten times" if new > old else "a tenth of"
        words = f"{label}: {new:g} {unit} is about {how} the last, {then}"
    else:
        words = f"{label}: {new:g} {unit}; the last was {then}"
    return (Question(field, f"{new:g}", f"{words}. Is a decimal point missing?"),)


def weight_question(
    field: str, last_kg: Decimal | None, now_kg: Decimal | None, on: date | None, limit_percent: int
) -> Sequence[Question]:
    """About a weight far from the last one."""
    if last_kg is None or now_kg is None or on is None:
        return ()
    change = weight_change(float(last_kg), float(now_kg))
    if abs(change) < limit_percent:
        return ()
    way = "more" if change > 0 else "less"
    words = (
        f"Weight: {float(now_kg):g} kg is {abs(change):.0f} % {way} than the last, "
        f"{float(last_kg):g} kg on {day_words(on)}."
    )
    return (Question(field, f"{float(now_kg):g}", words),)
