"""Raising red flags and answering them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from django.db import transaction
from django.utils import timezone

from clinic.models import FlagAnswer, Person, RedFlag, User, Visit
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["flag_answer", "flag_raise", "flags_at_visit"]


@transaction.atomic
def flag_raise(
    *,
    by: User,
    person: Person,
    flags: Sequence[str],
    visit: Visit | None = None,
    from_record: Mapping[str, int] | None = None,
) -> RedFlag:
    """Put a red flag on Today until someone answers it; `from_record` holds the dangers that raised it by
    themselves.
    """
    if not flags:
        raise Refused("A red flag needs at least one finding ticked.", field="red_flags")
    flag = store(
        RedFlag(
            person=person,
            visit=visit,
            flags=sorted(set(flags)),
            from_record=dict(from_record or {}),
            raised_at=timezone.now(),
        ),
        by=by,
    )
    audit.record(by=by, site=person.site, verb="raised", target=flag, person=person, flags=flag.flags)
    return flag


@transaction.atomic
def flag_answer(*, by: User, flag: RedFlag, answer: str, note: str, expected_version: int) -> RedFlag:
    """Record what was done about a red flag; it then leaves Today."""
    if flag.answer:
        raise Refused("This flag was answered already; nothing was changed.")
    if answer not in FlagAnswer.values:
        raise Refused("What was done: nothing chosen.", field="answer")
    if not note.strip():
        raise Refused("Say who was called and who answered, or why it is not a flag.", field="answer_note")
    flag.answer = answer
    flag.answer_note = note.strip()
    flag.answered_at = timezone.now()
    flag.answered_by = by
    store(flag, by=by, expected_version=expected_version)
    audit.record(
        by=by, site=flag.person.site, verb="answered", target=flag, person=flag.person, answer=answer
    )
    return flag


def flags_at_visit(*, by: User, visit: Visit, flags: Collection[str], answer: str, note: str) -> None:
    """Raise what was ticked or found at a visit; an answer given on the page's own sheet goes with it."""
    if not flags:
        if answer or note:
            raise Refused(
                "Red flags: what was done about a flag is filled in, but no flag is ticked.",
                field="red_flags",
            )
        return
    flag = flag_raise(by=by, person=visit.person, flags=sorted(flags), visit=visit)
    if answer or note:
        try:
            flag_answer(by=by, flag=flag, answer=answer, note=note, expected_version=flag.version)
        except Refused as refused:
            field = "flag_answer_note" if refused.field == "answer_note" else "flag_answer"
            raise Refused(refused.message, field=field) from refused
