"""Which standing dangers must be raised as a red flag today: those that are new, worse, or past their owner's
date, and of those only what no earlier flag speaks of (design choice: one danger alarms once).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from clinic.evidence.reads.standing import LimbStanding, standing_of, standing_of_many
from clinic.guidelines.known_dangers import Danger
from clinic.models import Limb, Person, RedFlag

__all__ = ["EVENT_FLAG", "FLAG_OF", "URGENT_FROM", "RaisedDanger", "dangers_unraised", "is_urgent"]

#: Danger -> level from which it is past a line that asks for somebody at once (see its urgent lines).
URGENT_FROM = {
    "infection": 3,
    "bone": 2,
    "unwell": 1,
    "thrombosis": 1,
    "gangrene": 1,
    "ischaemia": 3,
    "perfusion_in_doubt": 2,
}
#: Danger -> the red flag that asks for it.
FLAG_OF = {
    "infection": "infection_3_4_or_bone",
    "bone": "infection_3_4_or_bone",
    "unwell": "fever_or_unwell",
    "thrombosis": "calf_pain_or_swelling",
    "gangrene": "gangrene",
    "ischaemia": "severe_ischaemia",
    "perfusion_in_doubt": "severe_ischaemia",
}
#: Flags beside that one which speak of the danger too: who ticked one of them knows of it.
SPEAKS_OF = {
    "infection": ("abscess", "spreading_redness"),
    "bone": ("new_probe_to_bone",),
    "perfusion_in_doubt": ("gangrene",),
}
#: Urgent findings without a figure: each is new on its own day, whatever stood before.
EVENT_FLAG = {"newly_cold": "cold_pale_blue_foot", "rest_pain": "new_rest_pain"}


@dataclass(frozen=True)
class RaisedDanger:
    """A danger to raise, how bad it is, and the red flag it is raised as."""

    danger: str
    level: int
    flag: str


def is_urgent(danger: Danger) -> bool:
    """Whether a danger is past a line that asks for somebody at once."""
    return danger.level >= URGENT_FROM[danger.id]


def dangers_unraised(person: Person, day: date, ticked: Collection[str] = ()) -> list[RaisedDanger]:
    """Urgent dangers of a person's feet that no red flag speaks of; `ticked` are flags being raised now.

    Without an urgent danger this is one look at both feet and nothing more.
    """
    limbs = list(Limb.objects.filter(person=person).select_related("person__site"))
    feet = standing_of_many(limbs, day)
    urgent = [(feet[limb.pk], one) for limb in limbs for one in feet[limb.pk].to_raise if is_urgent(one)]
    events = [pair for limb in limbs for pair in feet[limb.pk].worst.ischaemia.urgent_events]
    if not urgent and not events:
        return []
    raised = list(RedFlag.objects.standing().filter(person=person).select_related("visit"))
    answer = [
        RaisedDanger(name, 1, EVENT_FLAG[name])
        for name, on in events
        if EVENT_FLAG[name] not in ticked and not any(_raised(row, {EVENT_FLAG[name]}, on) for row in raised)
    ]
    for foot, danger in urgent:
        flags = {FLAG_OF[danger.id], *SPEAKS_OF.get(danger.id, ())}
        if not (
            _same_line(foot, danger) or flags & set(ticked) or _spoken_of(foot, danger, flags, raised, day)
        ):
            answer.append(RaisedDanger(danger.id, danger.level, FLAG_OF[danger.id]))
    return answer


def _same_line(foot: LimbStanding, danger: Danger) -> bool:
    """Whether a doubt about the blood has no urgent line but what is raised by its own name."""
    if danger.id != "perfusion_in_doubt":
        return False
    named = any(one.id in ("ischaemia", "gangrene") for one in foot.dangers)
    return named or len(foot.worst.ischaemia.urgent) == len(foot.worst.ischaemia.urgent_events)


def _raised(row: RedFlag, flags: Collection[str], since: date | None) -> bool:
    """Whether a row speaks of one of these flags and waits, or was raised since a day."""
    on = row.visit.visited_on if row.visit else timezone.localdate(row.raised_at)
    return bool(set(flags) & set(row.flags)) and (not row.answer or since is None or on >= since)


def _spoken_of(
    foot: LimbStanding, danger: Danger, flags: Collection[str], raised: list[RedFlag], day: date
) -> bool:
    """Whether a flag at least as bad was raised since this danger began, or waits for its answer."""
    began = _began(foot, danger, day)
    for row in raised:
        level = row.from_record.get(danger.id, 0) if row.from_record else danger.level
        if level >= danger.level and _raised(row, flags, began):
            return True
    return False


def _began(foot: LimbStanding, danger: Danger, day: date) -> date | None:
    """The day a danger became as bad as it is, if that is known: its finding's, unless it stood before; or
    the day after its owner's date.
    """
    owner = next((one for one in foot.owned if one.danger == danger.id and one.level >= danger.level), None)
    if owner is not None and owner.past(day):
        return owner.next_on + timedelta(days=1)
    on = danger.on or day
    before = standing_of(foot.limb, on - timedelta(days=1))
    stood = any(one.id == danger.id and one.level >= danger.level for one in before.dangers)
    return None if stood else on
