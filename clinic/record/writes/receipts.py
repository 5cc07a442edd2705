"""The receipt of a form: written with what the form stored, so that the device may let go of what was typed.

A page gives its form a key. While a request with such a key runs, the first audit row makes the receipt, in
the same transaction: there is a receipt exactly when something is stored. The same key sent again, after an
answer that was lost on the way, finds the receipt and stores nothing.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.db import IntegrityError, models, transaction
from django.utils import timezone

from clinic.models import FormReceipt, Person, User

__all__ = ["KEPT", "Sending", "StoredAlready", "note", "sending"]

#: Twice as long as a device keeps what was typed (`static/js/drafts.js`). Design choice.
KEPT = timedelta(hours=48)


class StoredAlready(Exception):
    """The same form is being stored by another request, which came first."""


@dataclass
class Sending:
    """The form of the request that runs: who sends it, its key, the digest of its content."""

    user: int
    key: UUID
    content_digest: str
    noted: int | None = None


_running: ContextVar[Sending | None] = ContextVar("form_being_sent", default=None)


def sending(form: Sending | None) -> None:
    """What this thread records from here on belongs to this form; to none when it is None."""
    _running.set(form)


def note(*, by: User | None, target: models.Model, person: Person | None) -> None:
    """Tie what was just recorded to the form being sent, if one is. Runs in the change's transaction."""
    form = _running.get()
    if form is None or by is None or by.pk != form.user:
        return
    stored = {
        "target_kind": target._meta.model_name or "",
        "target_id": str(target.pk),
        "person_id": person.pk if person else None,
        "version": getattr(target, "version", None),
    }
    # A transaction that was rolled back took its receipt along; then this is the first again.
    mine = by.form_receipts  # type: ignore[attr-defined]
    if form.noted is not None and mine.filter(pk=form.noted).update(**stored):
        return
    now = timezone.now()
    mine.filter(at__lt=now - KEPT).delete()
    try:
        with transaction.atomic():
            row = FormReceipt.objects.create(
                user_id=form.user, key=form.key, content_digest=form.content_digest, at=now, **stored
            )
    except IntegrityError as fault:
        raise StoredAlready from fault
    form.noted = row.pk
