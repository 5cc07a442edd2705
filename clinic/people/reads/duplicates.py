"""Records that are likely of one person: pairs of one clinic, each with its reasons in words.

What counts as alike is a design choice of this program. A pair is shown when two things speak for it: a name
that is the same, spelt alike or swapped; a birth date that is the same, has day and month swapped or one
digit different; one telephone; one record number written in two ways. A telephone and a family name alone are
a family.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher
from itertools import combinations

from clinic.models import PeopleApart, Person, PersonState, Site

__all__ = ["LIMIT", "Likeness", "Twins", "likely_pairs", "likeness", "reasons_for", "told_apart"]

#: Points a pair needs: two different things that agree, one of them strongly.
LIMIT = 4
ALIKE = 0.8
#: Digits of a telephone that are compared, so that a country or area code does not hide it.
TELEPHONE_DIGITS = 7
SHOWN = 100


@dataclass(frozen=True)
class Likeness:
    """One record as it is compared."""

    pk: int
    given: str
    family: str
    birth_date: date
    telephone: str
    number: str

    @classmethod
    def of(cls, pk: int, given: str, family: str, birth_date: date, telephone: str, number: str) -> Likeness:
        digits = re.sub(r"\D", "", telephone)
        return cls(
            pk,
            _plain(given),
            _plain(family),
            birth_date,
            digits[-TELEPHONE_DIGITS:]
            if len(digits) >= TELEPHONE_DIGITS
            else digits
            if len(digits) > 4
            else "",
            re.sub(r"\D", "", number).lstrip("0"),
        )

    def keys(self) -> Iterator[tuple[str, str]]:
        """Records that share none of these are never compared."""
        yield "born", self.birth_date.isoformat()
        if swapped := _swapped(self.birth_date):
            yield "born", swapped.isoformat()
        if self.telephone:
            yield "telephone", self.telephone
        if self.number:
            yield "number", self.number
        yield "name", " ".join(sorted((_bones(self.given), _bones(self.family))))


@dataclass(frozen=True)
class Twins:
    """Two records that may be one person's; the one registered first stands first."""

    first: Person
    second: Person
    points: int
    reasons: tuple[str, ...]

    @property
    def both(self) -> tuple[Person, Person]:
        return self.first, self.second

    @property
    def words(self) -> str:
        text = ", ".join(self.reasons)
        return f"{text[0].upper()}{text[1:]}."


def _plain(name: str) -> str:
    """Letters only, small, without accents."""
    split = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in split if letter.isalpha())


def _bones(name: str) -> str:
    """A name without what is most often misheard: vowels after the first letter, doubled letters."""
    kept = name[:1] + re.sub("[aeiouyh]", "", name[1:])
    return re.sub(r"(.)\1+", r"\1", kept)


def _swapped(day: date) -> date | None:
    return date(day.year, day.day, day.month) if day.day <= 12 and day.day != day.month else None


def _alike(one: str, other: str) -> bool:
    return bool(one) and (
        _bones(one) == _bones(other) or SequenceMatcher(None, one, other, autojunk=False).ratio() >= ALIKE
    )


def _name(one: Likeness, other: Likeness) -> tuple[int, str]:
    given, family = one.given == other.given, one.family == other.family
    if given and family:
        return 3, "same name"
    if one.given == other.family and one.family == other.given:
        return 3, "given and family name swapped"
    if (given or _alike(one.given, other.given)) and (family or _alike(one.family, other.family)):
        return 3, "names spelt alike"
    if given:
        return 2, "same given name"
    return (1, "same family name") if family else (0, "")


def _birth(one: Likeness, other: Likeness) -> tuple[int, str]:
    if one.birth_date == other.birth_date:
        return 3, "born on the same day"
    if one.birth_date == _swapped(other.birth_date):
        return 3, "day and month of birth swapped"
    digits = zip(one.birth_date.isoformat(), other.birth_date.isoformat(), strict=True)
    return (1, "birth dates differ in one digit") if sum(a != b for a, b in digits) == 1 else (0, "")


def likeness(one: Likeness, other: Likeness) -> tuple[int, tuple[str, ...]]:
    """Points for being one person, and why; two kinds of evidence at least, or nothing."""
    found = [
        _name(one, other),
        _birth(one, other),
        (2, "same telephone") if one.telephone and one.telephone == other.telephone else (0, ""),
        (2, "record number the same but for letters, spaces and noughts")
        if one.number and one.number == other.number
        else (0, ""),
    ]
    pointed = [(points, words) for points, words in found if points]
    total = sum(points for points, _ in pointed)
    return (total, tuple(words for _, words in pointed)) if len(pointed) > 1 and total >= LIMIT else (0, ())


def _read(site: Site) -> list[Likeness]:
    people = Person.objects.filter(site=site).exclude(state=PersonState.MERGED)
    columns = ("pk", "given_name", "family_name", "birth_date", "telephone", "record_number")
    return [Likeness.of(*row) for row in people.values_list(*columns)]


def _apart(site: Site) -> set[tuple[int, int]]:
    rows = PeopleApart.objects.filter(site=site, taken_back_at=None)
    return set(rows.values_list("first_id", "second_id"))


def _scored(read: list[Likeness], apart: set[tuple[int, int]]) -> list[tuple[int, tuple[str, ...], int, int]]:
    held = {one.pk: one for one in read}
    together: dict[tuple[str, str], list[int]] = defaultdict(list)
    for one in read:
        for key in set(one.keys()):
            together[key].append(one.pk)
    pairs = {(min(pair), max(pair)) for keys in together.values() for pair in combinations(keys, 2)} - apart
    scored = [(*likeness(held[a], held[b]), a, b) for a, b in pairs]
    return sorted((row for row in scored if row[0]), key=lambda row: (-row[0], row[2], row[3]))


def reasons_for(one: Person, other: Person) -> str:
    """What speaks for one person, in words; empty when too little does."""
    compared = [
        Likeness.of(p.pk, p.given_name, p.family_name, p.birth_date, p.telephone, p.record_number)
        for p in (one, other)
    ]
    return ", ".join(likeness(*compared)[1])


def told_apart(one: Person, other: Person) -> bool:
    """Whether somebody noted that these records are of two people."""
    pair = {"first_id": min(one.pk, other.pk), "second_id": max(one.pk, other.pk)}
    return PeopleApart.objects.filter(**pair, taken_back_at=None).exists()


def likely_pairs(site: Site) -> tuple[list[Twins], int]:
    """The likeliest pairs of a clinic and how many there are in all; three queries whatever the number of
    people.
    """
    scored = _scored(_read(site), _apart(site))
    shown = scored[:SHOWN]
    people = Person.objects.select_related("created_by").in_bulk({pk for row in shown for pk in row[2:]})
    return [Twins(people[a], people[b], points, why) for points, why, a, b in shown], len(scored)
