"""The people list: fifty lines at a time, in the order of names, each with its open lesions, next visit
and weight.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from django.db.models import OuterRef, Q, QuerySet, Subquery

from clinic.guidelines.due import fact_age, visit_standing
from clinic.models import (
    OPEN_STATES,
    Lesion,
    LesionState,
    Person,
    PersonState,
    Site,
    Visit,
    VisitState,
    Weight,
    place_words,
)
from clinic.record.dates import day_words

__all__ = ["A_PAGE", "PeoplePage", "PersonRow", "people_page"]

A_PAGE = 50
ORDER = ("family_name", "given_name", "pk")
_VISITS = Visit.objects.filter(person=OuterRef("pk"), state=VisitState.STANDS).order_by("-visited_on", "-pk")
_WEIGHTS = Weight.objects.newest_first().filter(person=OuterRef("pk"))
#: Put together once: each query that takes them makes copies of its own.
_NEXT_ON = Subquery(_VISITS.values("next_on")[:1])
_WEIGHED_ON = Subquery(_WEIGHTS.values("measured_on")[:1])
#: What is said of a next visit with which something is wrong.
_WRONG = {"overdue": "overdue", "no_date": "no next date"}


class PersonRow(NamedTuple):
    """One line, which the template takes apart in this order: a name is then found at once."""

    key: str
    name: str
    number: str
    born: str
    #: Open lesions; of somebody who left, how and when instead.
    lesions: list[str]
    left: str
    next_on: str
    #: What is wrong with the next visit, or nothing.
    next_words: str
    weight_words: str
    #: Too old for somebody with an open lesion.
    weight_stale: bool


@dataclass(frozen=True)
class PeoplePage:
    """Some lines of the list, and by whose number the pages before and after it are asked for."""

    rows: tuple[PersonRow, ...]
    count: int
    before: str = ""
    after: str = ""


class _Line(NamedTuple):
    """The columns a line is made of, in the order of `_COLUMNS`."""

    pk: int
    family_name: str
    given_name: str
    record_number: str
    birth_date: date
    state: str
    state_on: date | None
    next_on: date | None
    weighed_on: date | None


_COLUMNS = _Line._fields


def people_page(
    found: QuerySet[Person], site: Site, today: date, *, before: str = "", after: str = ""
) -> PeoplePage:
    """The lines before or after a person of the site, else the first ones: at most five queries.

    A place is told by a number, so that no name stands in an address; what the person is called is looked up.
    """
    named = before or after
    place = _place(site, named) if named else None
    ordered = found.annotate(next_on=_NEXT_ON, weighed_on=_WEIGHED_ON).order_by(*ORDER)
    if place and before:
        backwards = list(_read(ordered.filter(_behind(place, "lt")).reverse()))
        if len(backwards) < A_PAGE:
            place = None  # the first page is always a whole one
        else:
            lines, more = backwards[A_PAGE - 1 :: -1], len(backwards) > A_PAGE
            return _page(found, site, today, lines, before=more, after=True)
    if place:
        lines = list(_read(ordered.filter(_behind(place, "gt"))))
        if lines:
            return _page(found, site, today, lines[:A_PAGE], before=True, after=len(lines) > A_PAGE)
    lines = list(_read(ordered))
    return _page(found, site, today, lines[:A_PAGE], before=False, after=len(lines) > A_PAGE)


def _place(site: Site, named: str) -> tuple[str, str, int] | None:
    """Where somebody stands in the order of names; None for a number that is nobody's here."""
    if not named.isdecimal() or len(named) > 18:
        return None
    return Person.objects.filter(site=site, pk=int(named)).values_list(*ORDER).first()


def _behind(place: tuple[str, str, int], way: str) -> Q:
    family, given, pk = place
    return Q(**{f"family_name__{way}": family}) | Q(family_name=family) & (
        Q(**{f"given_name__{way}": given}) | Q(given_name=given, **{f"pk__{way}": pk})
    )


def _read(ordered: QuerySet[Any]) -> Iterable[_Line]:
    """One line more than a page, which tells whether another page follows."""
    return map(_Line._make, ordered.values_list(*_COLUMNS)[: A_PAGE + 1])


def _page(
    found: QuerySet[Person], site: Site, today: date, lines: list[_Line], *, before: bool, after: bool
) -> PeoplePage:
    lesions = _lesions([line.pk for line in lines])
    return PeoplePage(
        rows=tuple([_row(line, lesions.get(line.pk, []), site, today) for line in lines]),
        count=found.count() if before or after else len(lines),
        before=str(lines[0].pk) if before else "",
        after=str(lines[-1].pk) if after else "",
    )


def _open_lesions(people: Any) -> QuerySet[Any, Any]:
    return (
        Lesion.objects.filter(limb__person__in=people, state__in=OPEN_STATES)
        .order_by("limb__side", "label")
        .values_list("limb__person_id", "label", "place", "limb__side", "state")
    )


def _lesions(people: list[int]) -> dict[int, list[str]]:
    """The open lesions of each person in words."""
    words_of: dict[int, list[str]] = defaultdict(list)
    for person, label, place, side, state in _open_lesions(people):
        closed = " (closed, to confirm)" if state == LesionState.TO_CONFIRM else ""
        words_of[person].append(f"{label}, {place_words(place, side)}{closed}")
    return words_of


def _ago(days: int) -> str:
    if days < 1:
        return "today"
    if days < 14:
        return f"{days} day{'s' if days != 1 else ''} old"
    return f"{days // 7} weeks old"


def _row(line: _Line, lesions: list[str], site: Site, today: date) -> PersonRow:
    in_care = line.state == PersonState.IN_CARE
    standing = visit_standing(line.next_on, today, in_care=in_care, open_lesions=bool(lesions))
    weighed = None if line.weighed_on is None else (today - line.weighed_on).days
    return PersonRow(
        key=str(line.pk),
        name=f"{line.family_name}, {line.given_name}",
        number=line.record_number,
        born=day_words(line.birth_date),
        left=""
        if in_care or line.state_on is None
        else f"{PersonState(line.state).label}, {day_words(line.state_on)}",
        lesions=lesions if in_care else [],
        next_on=day_words(line.next_on) if line.next_on else "",
        next_words=_WRONG.get(standing, ""),
        weight_words="not recorded" if weighed is None else _ago(weighed),
        weight_stale=bool(lesions) and fact_age(line.weighed_on, site.weight_fresh_days, today) != "fresh",
    )
