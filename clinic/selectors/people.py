"""Reading people: the header of every case page, the list with its search, likely duplicates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.utils import timezone

from clinic.models import (
    OPEN_STATES,
    Lesion,
    LesionState,
    Limb,
    Person,
    PersonState,
    Site,
    User,
    Visit,
    VisitState,
    Weight,
)

from .risk import risk_words

__all__ = ["SHOW", "PersonBar", "PersonRow", "likely_duplicates", "people_found", "person_bar", "person_row"]

#: Filters of the list: key -> words.
SHOW = {
    "all": "All in care",
    "open": "Open lesions",
    "remission": "In remission",
    "left": "Moved or died",
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

    @property
    def flag_words(self) -> str:
        return f"{self.open_flags} red flag{'s' if self.open_flags != 1 else ''} unanswered"


def person_bar(person: Person, today: date | None = None) -> PersonBar:
    """The header of one person (at most eight queries, whatever the size of the record)."""
    day = today or timezone.localdate()
    weight = person.weights.order_by("-measured_on", "-pk").first()
    fresh = timedelta(days=person.site.weight_fresh_days)
    return PersonBar(
        person=person,
        age=person.age_on(day),
        weight=weight,
        weight_stale=weight is not None and day - weight.measured_on > fresh,
        risk_words=risk_words(person),
        open_flags=person.red_flags.filter(answer="").count(),
    )


@dataclass(frozen=True)
class PersonRow:
    """One line of the people list."""

    person: Person
    lesions: list[Lesion]
    next_on: date | None
    overdue: bool
    weighed_on: date | None
    weight_words: str
    weight_stale: bool


def _ago(days: int) -> str:
    if days < 1:
        return "today"
    if days < 14:
        return f"{days} day{'s' if days != 1 else ''} old"
    return f"{days // 7} weeks old"


def people_found(site: Site, *, q: str = "", show: str = "all") -> QuerySet[Person]:
    """People of a site whose name or record number holds every word of `q` (three queries with their lesions)."""
    latest = Visit.objects.filter(person=OuterRef("pk"), state=VisitState.STANDS).order_by(
        "-visited_on", "-pk"
    )
    weights = Weight.objects.filter(person=OuterRef("pk")).order_by("-measured_on", "-pk")
    people = Person.objects.filter(site=site).order_by("family_name", "given_name", "pk")
    for word in q.split():
        said = (
            Q(given_name__icontains=word) | Q(family_name__icontains=word) | Q(record_number__icontains=word)
        )
        # A record merged into another is found by the other one's row: under its old number, or as it was spelt.
        merged = Person.objects.filter(said, site=site, merged_into__isnull=False).values("merged_into")
        people = people.filter(said | Q(pk__in=merged))
    if show == "left":
        people = people.exclude(state__in=[PersonState.IN_CARE, PersonState.MERGED])
    else:
        people = people.filter(state=PersonState.IN_CARE)
        if show in ("open", "remission"):
            here = Lesion.objects.filter(limb__person=OuterRef("pk"))
            is_open = Exists(here.filter(state__in=OPEN_STATES))
            healed = Exists(here.filter(state=LesionState.HEALED))
            people = people.filter(is_open) if show == "open" else people.filter(~is_open, healed)
    open_rows = Lesion.objects.filter(state__in=OPEN_STATES).order_by("label")
    return people.annotate(
        next_on=Subquery(latest.values("next_on")[:1]), weighed_on=Subquery(weights.values("measured_on")[:1])
    ).prefetch_related(
        Prefetch("limbs", queryset=Limb.objects.order_by("side")),
        Prefetch("limbs__lesions", queryset=open_rows, to_attr="open_lesions"),
    )


def person_row(person: Person, site: Site, today: date) -> PersonRow:
    """A line from one person of `people_found`."""
    weighed_on, next_on = person.weighed_on, person.next_on  # type: ignore[attr-defined]
    return PersonRow(
        person=person,
        lesions=[lesion for limb in person.limbs.all() for lesion in limb.open_lesions],  # type: ignore[attr-defined]
        next_on=next_on,
        overdue=next_on is not None and next_on < today,
        weighed_on=weighed_on,
        weight_words="not recorded" if weighed_on is None else _ago((today - weighed_on).days),
        weight_stale=weighed_on is None or (today - weighed_on).days > site.weight_fresh_days,
    )


def likely_duplicates(user: User, *, given_name: str, family_name: str, birth_date: date) -> list[Person]:
    """People at the user's sites born on the same day whose given or family name is the same."""
    return list(
        Person.objects.visible_to(user)
        .filter(Q(family_name__iexact=family_name) | Q(given_name__iexact=given_name), birth_date=birth_date)
        .select_related("site")[:5]
    )
