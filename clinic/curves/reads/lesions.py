"""Reading lesion rows for lists, maps and the lesion forms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from clinic.curves.reads.healing import LesionHealing, Reading, healings_of
from clinic.models import Episode, Lesion, LesionState, Person

__all__ = [
    "LesionRow",
    "healed_lesions",
    "has_open_episode",
    "lesion_rows",
    "lesions_of",
    "open_beside",
    "open_lesions",
]


@dataclass(frozen=True)
class LesionRow:
    """A lesion with its last look and its state in one word, as cards and lists show it."""

    lesion: Lesion
    kind: str
    words: str
    last: Reading | None

    @property
    def last_words(self) -> str:
        """The last area with its method, or why there is none."""
        if self.last is None:
            return "not measured yet"
        if self.last.covered_dry:
            return "covered and dry"
        if self.last.area_cm2 is None:
            return f"not measured: {self.last.not_measured_because}"
        method = "traced" if self.last.method == "traced" else "length × width"
        return f"{self.last.area_cm2:.2f} cm², {method}"


def lesions_of(person: Person) -> QuerySet[Lesion]:
    """All lesions of a person with what their words need."""
    return Lesion.objects.filter(limb__person=person).select_related("limb", "episode")


def _row(lesion: Lesion, healing: LesionHealing) -> LesionRow:
    return LesionRow(lesion, healing.kind, healing.words, healing.last)


def lesion_rows(lesions: Iterable[Lesion]) -> list[LesionRow]:
    """Rows for these lesions, in their order; a constant number of queries."""
    wanted = list(lesions)
    judged = healings_of(wanted)
    return [_row(lesion, judged[lesion.pk]) for lesion in wanted]


def healed_lesions(person: Person) -> list[Lesion]:
    """What may come back, newest first."""
    return list(lesions_of(person).filter(state=LesionState.HEALED).order_by("-confirmed_on", "-pk"))


def has_open_episode(person: Person) -> bool:
    return Episode.objects.filter(person=person, ended_on__isnull=True).exists()


def open_lesions(person: Person) -> list[Lesion]:
    """Open lesions of a person, by letter."""
    rows = Lesion.objects.filter(limb__person=person, state=LesionState.OPEN).select_related("limb")
    return list(rows.order_by("label", "pk"))


def open_beside(lesion: Lesion) -> list[Lesion]:
    """Other open lesions of the same foot, by letter: what this one can have joined."""
    rows = Lesion.objects.filter(limb=lesion.limb_id, state=LesionState.OPEN).exclude(pk=lesion.pk)
    return list(rows.select_related("limb").order_by("label", "pk"))
