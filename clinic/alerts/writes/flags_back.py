"""Taking back a red flag, or the answer to one. The row stays, with the reason in its history."""

from __future__ import annotations

from django.db import transaction

from clinic.models import RedFlag, User
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check, withdraw

__all__ = ["flag_answer_take_back", "flag_withdraw"]


@transaction.atomic
def flag_answer_take_back(*, by: User, flag: RedFlag, reason: str, expected_version: int) -> RedFlag:
    """The flag stands on Today again, from when it was raised; a team that only this answer named has the
    danger no more.
    """
    standing_check(flag)
    if not flag.answer:
        raise Refused("This red flag is not answered; there is nothing to take back.")
    why = words_needed(reason, "reason")
    flag.answer = flag.answer_note = flag.under = ""
    flag.until = flag.answered_at = flag.answered_by = None
    store(flag, by=by, expected_version=expected_version, why=why[:100])
    _owners_back(by, flag, why)
    audit.record(
        by=by,
        site=flag.person.site,
        verb="took back the answer to",
        target=flag,
        person=flag.person,
        reason=why,
    )
    return flag


@transaction.atomic
def flag_withdraw(*, by: User, flag: RedFlag, reason: str, expected_version: int | None = None) -> RedFlag:
    """The flag was raised in error, answered or not; what the record holds besides raises its own."""
    withdraw(flag, by=by, reason=reason, expected_version=expected_version)
    _owners_back(by, flag, reason)
    audit.record(
        by=by,
        site=flag.person.site,
        verb="withdrew",
        target=flag,
        person=flag.person,
        flags=flag.flags,
        reason=reason.strip(),
    )
    return flag


def _owners_back(by: User, flag: RedFlag, reason: str) -> None:
    for owner in flag.owners.standing().select_related("limb__person__site"):
        withdraw(owner, by=by, reason=reason)
