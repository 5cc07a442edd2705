"""Taking a standing danger, handing it on, and taking that back: a named team and the day it sees the person
next.
"""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.alerts.reads.known import dangers_of
from clinic.evidence.reads.standing import standing_of, standing_of_many
from clinic.models import DangerOwner, Limb, Person, RedFlag, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import withdraw

__all__ = ["danger_take", "danger_take_back", "dangers_taken"]


@transaction.atomic
def danger_take(
    *, by: User, limb: Limb, danger: str, team: str, next_on: date, note: str = ""
) -> DangerOwner:
    """Record that a team has a danger of this foot as bad as it stands today; an earlier team's row stays
    as history. It ends by itself when the danger is lifted.
    """
    today = timezone.localdate()
    level = next((one.level for one in standing_of(limb, today).dangers if one.id == danger), None)
    if level is None:
        raise Refused("Danger: it does not stand about this foot today.", field="danger")
    if not team.strip():
        raise Refused("Team: name who has it.", field="team")
    if next_on < today:
        raise Refused(
            f"Seen there next: {date_format(next_on)} is past; a date from today, {date_format(today)}, on "
            "is needed.",
            field="next_on",
        )
    return _take(by, limb, danger, level, team, next_on, note)


@transaction.atomic
def danger_take_back(*, by: User, owner: DangerOwner, reason: str, expected_version: int) -> DangerOwner:
    """The team did not take it: who had it before has it again, with that date."""
    if owner.flag_id is not None:
        raise Refused(
            f"{owner.team} was named in the answer to a red flag: take that answer back, and this goes "
            "with it."
        )
    withdraw(owner, by=by, reason=reason, expected_version=expected_version)
    person = owner.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="took back",
        target=owner,
        person=person,
        danger=owner.danger,
        team=owner.team,
        reason=owner.withdrawn_because,
    )
    return owner


def dangers_taken(
    *, by: User, person: Person, flag: RedFlag, team: str, next_on: date, note: str = ""
) -> list[DangerOwner]:
    """The standing dangers that a red flag is about, taken by the team named in their answer; call
    inside the transaction of the answer.
    """
    wanted = {danger for one in flag.flags for danger in dangers_of(one)}
    limbs = list(person.limbs.select_related("person__site"))
    rows = []
    for limb_pk, foot in standing_of_many(limbs, timezone.localdate()).items():
        for danger in foot.dangers:
            if danger.id in wanted:
                limb = next(one for one in limbs if one.pk == limb_pk)
                rows.append(_take(by, limb, danger.id, danger.level, team, next_on, note, flag))
    return rows


def _take(
    by: User,
    limb: Limb,
    danger: str,
    level: int,
    team: str,
    next_on: date,
    note: str,
    flag: RedFlag | None = None,
) -> DangerOwner:
    made = store(
        DangerOwner(
            limb=limb,
            danger=danger,
            level=level,
            team=team.strip(),
            next_on=next_on,
            taken_on=timezone.localdate(),
            note=note.strip(),
            flag=flag,
        ),
        by=by,
    )
    person = limb.person
    audit.record(
        by=by,
        site=person.site,
        # What a flag's answer gave goes back with that answer.
        verb="gave a danger to" if flag is None else "gave with an answer",
        target=made,
        person=person,
        danger=danger,
        level=level,
        team=made.team,
        next_on=next_on,
    )
    return made
