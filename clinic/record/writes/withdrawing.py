"""Withdrawing a row: it stays with the day and the reason, and counts in nothing that is read."""

from __future__ import annotations

from typing import TypeVar

from django.utils import timezone

from clinic.models import User
from clinic.models.withdrawable import Withdrawable
from clinic.record.errors import Refused, words_needed
from clinic.record.reads.last_step import TAKEN_BACK
from clinic.record.writes.rows import store

__all__ = ["TAKEN_BACK", "standing_check", "withdraw"]

Row = TypeVar("Row", bound=Withdrawable)


def standing_check(row: Withdrawable) -> None:
    """Refuse to change what was withdrawn."""
    if row.withdrawn_on is not None:
        noun = str(row._meta.verbose_name)
        raise Refused(
            f"This {noun} was withdrawn on {row.withdrawn_on:%-d %b %Y}; it is not changed any more."
        )


def withdraw(row: Row, *, by: User, reason: str, expected_version: int | None = None) -> Row:
    """Take a row out of everything that is read. Call inside `transaction.atomic`; the audit row is the
    caller's.
    """
    standing_check(row)
    row.withdrawn_on, row.withdrawn_because = timezone.localdate(), words_needed(reason, "reason")
    return store(
        row, by=by, expected_version=expected_version, why=f"withdrawn: {row.withdrawn_because}"[:100]
    )
