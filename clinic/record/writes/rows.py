"""Saving one clinical row: checked, versioned, with its author in the history."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, transaction

from clinic.models import ClinicalRecord, Person, User
from clinic.record.errors import Conflict, Refused
from clinic.record.lifecycle import person_allowed

__all__ = ["restrict", "store"]

Row = TypeVar("Row", bound=ClinicalRecord)

#: Nouns whose new row is something done for a person in care; every other row corrects, ends or tells of what
#: stands, which also a person who moved or died still needs.
BEGINS = frozenset(
    {
        "antibioticcourse",
        "bonejudgement",
        "circumstances",
        "dangerowner",
        "daymark",
        "event",
        "fitting",
        "imprint",
        "incomingcall",
        "insoleoutline",
        "lesion",
        "limbfinding",
        "limbplan",
        "look",
        "measuredmap",
        "nonhealingreview",
        "openingcard",
        "photo",
        "photoconsent",
        "prescription",
        "redflag",
        "referral",
        "result",
        "visit",
        "weight",
    }
)


class restrict:  # noqa: N801  a word of the law, used as a name
    """What the person's state allows to be written: nothing at a restricted or merged record, nothing new for
    somebody who moved or died. Only the restriction itself and a merge lift it.
    """

    _lifted: ContextVar[bool] = ContextVar("restriction_lifted", default=False)

    @classmethod
    @contextmanager
    def lifted(cls) -> Iterator[None]:
        token = cls._lifted.set(True)
        try:
            yield
        finally:
            cls._lifted.reset(token)

    @classmethod
    def check(cls, row: ClinicalRecord) -> None:
        if cls._lifted.get():
            return
        person = row
        for step in row.SITE_PATH.split("__")[:-1]:
            person = getattr(person, step)
        if isinstance(person, Person):
            begins = row.pk is None and row._meta.model_name in BEGINS
            # What stays in the wrong record of a visit that was moved is a correction of it.
            begins = begins and getattr(row, "state", "") != "in_error"
            person_allowed(person, "care" if begins else "correct")


def store(row: Row, *, by: User, expected_version: int | None = None, why: str = "") -> Row:
    """Save a new or changed row; refuse it when the database has moved on since the page was opened.

    Call inside `transaction.atomic`; the audit row is the caller's, who knows what happened.
    """
    restrict.check(row)
    if row.pk is None:
        row.created_by = by
    else:
        current = type(row)._default_manager.select_for_update().only("version").get(pk=row.pk).version
        if current != (row.version if expected_version is None else expected_version):
            raise Conflict("Someone else changed this record since you opened it. Nothing was overwritten.")
        row.version = current + 1
    row._history_user = by  # type: ignore[attr-defined]
    row._change_reason = why  # type: ignore[attr-defined]
    try:
        row.clean_fields(exclude={"created_by"})
        row.clean()
        with transaction.atomic():
            row.save()
    except (ValidationError, IntegrityError) as fault:
        _refuse(row, fault)
        raise
    return row


def _refuse(row: ClinicalRecord, fault: Exception) -> None:
    """Say in words what the fields or the database did not take; silent when no rule of the row explains it.

    The constraints stand in the database, so asking each of them before every write (one statement apiece,
    most of the time of a save) would ask twice. They are asked here, for their sentences, once one of them
    has refused.
    """
    try:
        row.full_clean(exclude=["created_by"])
    except ValidationError as refusal:
        field, messages = next(iter(refusal.message_dict.items()))
        raise Refused(" ".join(messages), field=None if field == NON_FIELD_ERRORS else field) from fault
