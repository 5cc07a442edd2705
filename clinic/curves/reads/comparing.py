"""What a lesion's course can be compared with, and the comparison asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format

from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.healing.compare import LEAST_AREAS, Comparison, compare, split_run
from clinic.healing.series import Area
from clinic.models import Lesion

__all__ = ["Choice", "Choices", "Compared", "choices_for", "compared_with"]


@dataclass(frozen=True)
class Choice:
    """One thing to compare with: its value in the address, its words, both courses with their names."""

    value: str
    words: str
    names: tuple[str, str]
    first: tuple[Area, ...]
    second: tuple[Area, ...]

    @property
    def enough(self) -> bool:
        return len(self.first) >= LEAST_AREAS and len(self.second) >= LEAST_AREAS

    @property
    def counts(self) -> str:
        return f"{len(self.first)} and {len(self.second)} areas"


@dataclass(frozen=True)
class Choices:
    """Changes of this lesion's treatment, and the other lesions of the same person."""

    healing: LesionHealing
    periods: tuple[Choice, ...]
    lesions: tuple[Choice, ...]

    @property
    def all(self) -> tuple[Choice, ...]:
        return (*self.periods, *self.lesions)

    @property
    def default(self) -> Choice | None:
        """The newest change with enough areas on both sides, else the first lesion with enough."""
        able = [c for c in (*self.periods[::-1], *self.lesions) if c.enough]
        return able[0] if able else None


@dataclass(frozen=True)
class Compared:
    """A choice with its comparison; None where one side has too few areas."""

    choice: Choice
    found: Comparison | None

    @property
    def rows(self) -> Sequence[tuple[str, date, date, object]]:
        if self.found is None:
            return []
        both = zip(self.choice.names, (self.found.first, self.found.second), strict=True)
        return [(name, slope.areas[0].day, slope.areas[-1].day, slope) for name, slope in both]

    @property
    def points(self) -> list[tuple[str, Area, float]]:
        """Every area of both courses with its weeks since the first of its own."""
        if self.found is None:
            return []
        both = zip(self.choice.names, (self.found.first, self.found.second), strict=True)
        return [
            (name, area, (area.day - slope.areas[0].day).days / 7.0)
            for name, slope in both
            for area in slope.areas
        ]


def choices_for(lesion: Lesion) -> Choices:
    """Everything the lesion can be compared with; a constant number of queries."""
    others = list(
        Lesion.objects.filter(limb__person=lesion.limb.person_id)
        .exclude(pk=lesion.pk)
        .select_related("limb")
        .order_by("-first_seen_on", "pk")
    )
    judged = healings_of([lesion, *others])
    mine = judged[lesion.pk]
    return Choices(mine, tuple(_periods(mine)), tuple(_lesions(mine, [judged[o.pk] for o in others])))


def compared_with(choice: Choice) -> Compared:
    """The comparison of a choice."""
    return Compared(choice, compare(choice.first, choice.second) if choice.enough else None)


def _periods(mine: LesionHealing) -> list[Choice]:
    if mine.report is None:
        return []
    run = mine.report.run
    choices: dict[date, Choice] = {}
    for mark in mine.marks:
        if not mark.breaks or not run.first.day <= mark.day < run.last.day:
            continue
        before, after = split_run(run, mark.day)
        # Several changes on one day cannot be told apart; the day is offered once with all their words.
        same_day = choices[mark.day].words.split(": ", 1)[1] if mark.day in choices else ""
        what = f"{same_day}, {mark.words[0].lower()}{mark.words[1:]}" if same_day else mark.words
        on = date_format(mark.day)
        choices[mark.day] = Choice(
            f"day:{mark.day.isoformat()}", f"{on}: {what}", (f"Before {on}", f"After {on}"), before, after
        )
    return list(choices.values())


def _lesions(mine: LesionHealing, others: list[LesionHealing]) -> list[Choice]:
    if mine.report is None:
        return []
    return [
        Choice(
            f"lesion:{other.lesion.pk}",
            f"{_name(other.lesion)}, {other.lesion.where}",
            (_name(mine.lesion), _name(other.lesion)),
            mine.report.run.areas,
            other.report.run.areas,
        )
        for other in others
        if other.report is not None
    ]


def _name(lesion: Lesion) -> str:
    return f"Ulcer {lesion.label} ({lesion.first_seen_on:%b %Y})"
