"""What the record knows already beside each red-flag question, and who has it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from clinic.evidence.reads.raising import EVENT_FLAG, FLAG_OF, SPEAKS_OF, is_urgent
from clinic.evidence.reads.standing import LimbStanding, standing_of_many
from clinic.guidelines.known_dangers import Danger, Owned
from clinic.models import OPEN_STATES, Limb, Person
from clinic.record.dates import day_words

__all__ = ["DangerNow", "dangers_now", "dangers_of", "feet_standing", "known_beside", "not_owned"]


@dataclass(frozen=True)
class DangerNow:
    """One standing danger of a foot, and the team that has it as bad as it is and until a date to come."""

    limb: Limb
    danger: Danger
    owner: Owned | None
    raised: bool

    @property
    def words(self) -> str:
        team = (
            f"{self.owner.team}, next {day_words(self.owner.next_on)}"
            if self.owner
            else "nobody has taken it"
        )
        return f"{self.limb.get_side_display().lower()} foot, {self.danger.words.rstrip('.')}; {team}"


def feet_standing(person: Person, day: date) -> list[LimbStanding]:
    """What stands about each foot of a person with an open ulcer (a fixed number of queries)."""
    limbs = list(
        Limb.objects.filter(person=person, lesions__state__in=OPEN_STATES)
        .distinct()
        .select_related("person__site")
        .order_by("side")
    )
    return list(standing_of_many(limbs, day).values()) if limbs else []


def dangers_now(foot: LimbStanding) -> tuple[DangerNow, ...]:
    """The standing dangers of a foot, the worst first; no query."""
    raised = {danger.id for danger in foot.to_raise}
    return tuple(
        DangerNow(
            foot.limb,
            danger,
            next((one for one in foot.owned if one.danger == danger.id and one.level >= danger.level), None),
            danger.id in raised,
        )
        for danger in foot.dangers
    )


def known_beside(feet: Iterable[LimbStanding]) -> dict[str, list[str]]:
    """Words of what is on record, by the red flag it belongs to; no query."""
    known: dict[str, list[str]] = {}
    for foot in feet:
        for row in dangers_now(foot):
            if is_urgent(row.danger):
                known.setdefault(FLAG_OF[row.danger.id], []).append(row.words)
    return known


def dangers_of(flag: str) -> tuple[str, ...]:
    """Ids of the standing dangers a question is about."""
    speaks = {danger: {asked_by, *SPEAKS_OF.get(danger, ())} for danger, asked_by in FLAG_OF.items()}
    speaks["perfusion_in_doubt"] |= set(EVENT_FLAG.values())
    return tuple(danger for danger, flags in speaks.items() if flag in flags)


def not_owned(found: Collection[str], feet: Iterable[LimbStanding]) -> set[str]:
    """Flags that today's own findings say, without those whose danger a team has taken as bad as it is, until
    a date to come; no query.

    Parameters
    ----------
    found : collection of str
    feet : iterable of LimbStanding
        With what was found today already stored.
    """
    rows = [row for foot in feet for row in dangers_now(foot)]
    unowned = {row.danger.id for row in rows if row.raised}
    standing = {row.danger.id for row in rows}
    return {flag for flag in found if not standing & set(dangers_of(flag)) or unowned & set(dangers_of(flag))}
