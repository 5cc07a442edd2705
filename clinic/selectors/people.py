"""Reading people: the header of every case page, lists and search."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from clinic.models import Person, Weight

__all__ = ["PersonBar", "person_bar"]


@dataclass(frozen=True)
class PersonBar:
    """What the person's header shows."""

    person: Person
    age: int
    weight: Weight | None
    weight_stale: bool
    risk_words: str
    open_flags: int

    @property
    def flag_words(self) -> str:
        return f"{self.open_flags} red flag{'s' if self.open_flags != 1 else ''} unanswered"


def person_bar(person: Person, today: date | None = None) -> PersonBar:
    """The header of one person (three queries, whatever the size of the record)."""
    day = today or timezone.localdate()
    weight = person.weights.order_by("-measured_on", "-pk").first()
    fresh = timedelta(days=person.site.weight_fresh_days)
    return PersonBar(
        person=person,
        age=person.age_on(day),
        weight=weight,
        weight_stale=weight is not None and day - weight.measured_on > fresh,
        risk_words="",
        open_flags=person.red_flags.filter(answer="").count(),
    )
