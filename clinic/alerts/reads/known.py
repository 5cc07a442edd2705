"""What the record knows already beside each red-flag question, and what it raises by itself."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from clinic.evidence.reads.standing import LimbStanding, standing_of_many
from clinic.guidelines.known_dangers import Danger, Owned
from clinic.guidelines.red_flags import RED_FLAGS, dangers_of, flags_of
from clinic.models import OPEN_STATES, Limb, Person
from clinic.record.dates import day_words

__all__ = [
    "DangerNow",
    "dangers_now",
    "feet_standing",
    "flags_standing_open",
    "known_beside",
    "raised_by_record",
]


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
    rows = [row for foot in feet for row in dangers_now(foot)]
    known: dict[str, list[str]] = {}
    for flag in RED_FLAGS:
        for row in rows:
            if any(row.danger.id == name and row.danger.level >= level for name, level in flag.dangers):
                known.setdefault(flag.id, []).append(row.words)
    return known


def raised_by_record(
    feet: Iterable[LimbStanding], *, found: Collection[str], open_flags: Collection[str]
) -> set[str]:
    """Red flags that nobody ticked and that stand all the same; no query.

    Parameters
    ----------
    feet : iterable of LimbStanding
        With what was found today already stored.
    found : collection of str
        Flags that today's own findings say. One whose danger a team has taken as bad as it is, until a date
        to come, is not said again.
    open_flags : collection of str
        Flags that stand unanswered or were raised today: one cause is not shown twice.
    """
    rows = [row for foot in feet for row in dangers_now(foot)]
    unowned = {row.danger.id for row in rows if row.raised}
    standing = {row.danger.id for row in rows}
    by_findings = {
        flag for flag in found if not (standing & set(dangers_of(flag))) or unowned & set(dangers_of(flag))
    }
    by_record = set(flags_of(row.danger for row in rows if row.raised))
    return by_findings | (by_record - set(open_flags))


def flags_standing_open(person: Person, now: datetime) -> set[str]:
    """Flags of a person that stand unanswered, or were raised today (one query)."""
    today = timezone.localdate(now)
    return {
        key
        for flag in person.red_flags.only("flags", "answer", "raised_at")
        if not flag.answer or timezone.localdate(flag.raised_at) == today
        for key in flag.flags
    }
