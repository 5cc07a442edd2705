"""Reading people: the header of every case page, the search, likely duplicates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from clinic.guidelines.due import too_old
from clinic.models import OPEN_STATES, Lesion, LesionState, Person, PersonState, Site, User, Weight
from clinic.people.reads.missing import Missing, missing_of, next_step, registering_steps
from clinic.people.reads.risk import risk_words

__all__ = ["SHOW", "PersonBar", "likely_duplicates", "people_found", "person_bar"]

#: Filters of the list: key -> words.
SHOW = {
    "all": "All in care",
    "open": "Open ulcers",
    "remission": "In remission",
    "left": "Closed records",
}


@dataclass(frozen=True)
class PersonBar:
    """What the person's header shows."""

    person: Person
    age: int
    weight: Weight | None
    weight_stale: bool
    risk_words: str
    open_flags: int
    #: The steps of registering, done or not.
    steps: tuple[Missing, ...] = ()

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What the record still misses."""
        return missing_of(self.steps)

    @property
    def next_step(self) -> Missing | None:
        """Where registering goes on."""
        return next_step(self.steps)

    @property
    def flag_words(self) -> str:
        return f"{self.open_flags} red flag{'s' if self.open_flags != 1 else ''} unanswered"


def person_bar(person: Person, today: date | None = None) -> PersonBar:
    """The header of one person (at most nine queries, whatever the size of the record)."""
    day = today or timezone.localdate()
    weight = person.weights.newest_first().first()
    return PersonBar(
        person=person,
        age=person.age_on(day),
        weight=weight,
        weight_stale=weight is not None and too_old(weight.measured_on, person.site.weight_fresh_days, day),
        risk_words=risk_words(person),
        open_flags=person.red_flags.standing().filter(answer="").count(),
        steps=registering_steps(person),
    )


def people_found(site: Site, *, q: str = "", show: str = "all") -> QuerySet[Person]:
    """People of a site whose name or record number holds every word of `q`."""
    wanted: list[Any] = []
    for word in q.split():
        match = (
            Q(given_name__icontains=word) | Q(family_name__icontains=word) | Q(record_number__icontains=word)
        )
        # A record merged into another is found by the other one's row: under its old number, or as it was
        # spelt.
        merged = Person.objects.filter(match, site=site, merged_into__isnull=False).values("merged_into")
        wanted.append(match | Q(pk__in=merged))
    if show == "left":
        wanted.append(~Q(state__in=[PersonState.IN_CARE, PersonState.MERGED]))
        return Person.objects.filter(*wanted, site=site)
    if show in ("open", "remission"):
        here = Lesion.objects.filter(limb__person=OuterRef("pk"))
        is_open = Exists(here.filter(state__in=OPEN_STATES))
        healed = Exists(here.filter(state=LesionState.HEALED))
        wanted += [is_open] if show == "open" else [~is_open, healed]
    return Person.objects.filter(*wanted, site=site, state=PersonState.IN_CARE)


def likely_duplicates(user: User, *, given_name: str, family_name: str, birth_date: date) -> list[Person]:
    """People at the user's sites born on the same day whose given or family name is the same."""
    return list(
        Person.objects.visible_to(user)
        .filter(Q(family_name__iexact=family_name) | Q(given_name__iexact=given_name), birth_date=birth_date)
        .select_related("site")[:5]
    )
