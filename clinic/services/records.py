"""Saving one clinical row: checked, versioned, with its author in the history."""

from __future__ import annotations

from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from clinic.models import ClinicalRecord, User

from .errors import Conflict, Refused

__all__ = ["store"]

Row = TypeVar("Row", bound=ClinicalRecord)


def store(row: Row, *, by: User, expected_version: int | None = None, why: str = "") -> Row:
    """Save a new or changed row; refuse it when the database has moved on since the page was opened.

    Call inside `transaction.atomic`; the audit row is the caller's, who knows what happened.
    """
    if row.pk is None:
        row.created_by = by
    else:
        current = type(row)._default_manager.select_for_update().only("version").get(pk=row.pk).version
        if current != (row.version if expected_version is None else expected_version):
            raise Conflict("Someone else changed this record since you opened it. Nothing was overwritten.")
        row.version = current + 1
    try:
        row.full_clean(exclude=["created_by"])
    except ValidationError as fault:
        field, messages = next(iter(fault.message_dict.items()))
        raise Refused(" ".join(messages), field=None if field == NON_FIELD_ERRORS else field) from fault
    row._history_user = by  # type: ignore[attr-defined]
    row._change_reason = why  # type: ignore[attr-defined]
    row.save()
    return row
