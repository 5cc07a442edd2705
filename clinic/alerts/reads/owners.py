"""Who has taken the standing dangers of a foot, and whose date is past."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from clinic.alerts.reads.known import DangerNow, dangers_now
from clinic.evidence.reads.standing import standing_of, standing_of_many
from clinic.guidelines.due import days_overdue
from clinic.models import DangerOwner, Limb

__all__ = ["DANGER_WORDS", "DangersPage", "OwnerPast", "danger_words", "dangers_page", "owners_past"]

#: What a standing danger is called in a list of handings-on, where its finding is not at hand.
DANGER_WORDS = {
    "infection": "Infection",
    "bone": "Bone infection",
    "unwell": "Fever or unwell",
    "thrombosis": "Suspected thrombosis",
    "gangrene": "Dead tissue",
    "ischaemia": "Ischaemia",
    "perfusion_in_doubt": "Perfusion in doubt",
}


@dataclass(frozen=True)
class DangersPage:
    """The dangers of one foot with who has them, and every row of who had one."""

    limb: Limb
    now: tuple[DangerNow, ...]
    before: tuple[tuple[str, DangerOwner], ...]


@dataclass(frozen=True)
class OwnerPast:
    """A danger that still stands and whose team's date is past."""

    limb: Limb
    danger: DangerNow
    owner: DangerOwner


def danger_words(danger: str) -> str:
    return DANGER_WORDS.get(danger, danger.replace("_", " "))


def dangers_page(limb: Limb, day: date) -> DangersPage:
    """One foot; the limb comes with person and site."""
    before = (
        DangerOwner.objects.standing()
        .filter(limb=limb)
        .select_related("created_by")
        .order_by("-taken_on", "-pk")
    )
    return DangersPage(
        limb,
        dangers_now(standing_of(limb, day)),
        tuple((danger_words(row.danger), row) for row in before),
    )


def owners_past(people: Collection[int], day: date) -> dict[int, list[OwnerPast]]:
    """Taken dangers past their date that still stand, by person; a fixed number of queries."""
    newest: dict[tuple[int, str], DangerOwner] = {}
    rows = DangerOwner.objects.standing().filter(limb__person__in=people).select_related("limb__person__site")
    for row in rows.order_by("taken_on", "pk"):
        newest[row.limb_id, row.danger] = row
    past = [row for row in newest.values() if days_overdue(row.next_on, day)]
    limbs = {row.limb_id: row.limb for row in past}
    standing = standing_of_many(limbs.values(), day) if limbs else {}
    found: dict[int, list[OwnerPast]] = {}
    for row in past:
        for one in dangers_now(standing[row.limb_id]):
            if one.danger.id == row.danger:
                found.setdefault(row.limb.person_id, []).append(OwnerPast(row.limb, one, row))
    return found
