"""The one function that writes the audit chain, always in the transaction of the change it tells of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from datetime import UTC
from typing import Any

from cryptography.fernet import Fernet
from django.db import connection, models, transaction
from django.utils import timezone

from clinic.models import AuditEvent, Person, PersonKey, Site, User
from clinic.record.writes import receipts
from clinic.record.writes.canonical import canonical
from clinic.record.writes.seals import seal_new

__all__ = ["canonical", "digest_of", "faults", "lock_chain", "record", "sealed_for"]


def digest_of(event: AuditEvent) -> str:
    """Digest of a row and of the digest before it."""
    body = canonical(
        [
            event.previous_digest,
            event.site_id,
            event.sequence,
            event.at.astimezone(UTC).isoformat(timespec="microseconds"),
            event.actor,
            event.actor_role,
            event.verb,
            event.target_kind,
            event.target_id,
            event.person_id,
            event.payload,
            event.sealed,
        ]
    )
    return hashlib.sha256(body.encode()).hexdigest()


def lock_chain(site_id: int) -> None:
    """One writer at a time per chain. SQLite's IMMEDIATE transaction is that lock already."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [7301, site_id])


def _key_of(person: Person | None) -> str:
    """The key that seals what is said about a person; made with the first row. Empty for nobody."""
    if person is None:
        return ""
    held = PersonKey.objects.filter(pk=person.pk).first()
    if held is None:
        # A key made at the same moment by another clinic's chain is kept.
        fresh = Fernet.generate_key().decode()
        held, _ = PersonKey.objects.get_or_create(pk=person.pk, defaults={"key": fresh})
    return str(held.key)


def sealed_for(text: str, key: str) -> str:
    """What is said of a person under that person's key; as it is where there is none."""
    return Fernet(key).encrypt(text.encode()).decode() if key else text


def record(
    *,
    by: User | None,
    site: Site,
    verb: str,
    target: models.Model,
    person: Person | None = None,
    also: Iterable[models.Model] = (),
    **detail: Any,
) -> None:
    """Append one row to the site's chain. Must run inside the transaction of the change, and after it.

    The row carries the hash of every history copy written since the last row, and of rows without copies
    that belong to the target or are named by `also`. Nobody in `by`: the program itself did it.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError(
            "an audit row is written inside the change's transaction"
        )
    longest = AuditEvent._meta.get_field("verb").max_length
    if longest is not None and len(verb) > longest:
        # SQLite would take it, PostgreSQL not.
        raise ValueError(f"verb: {verb!r} has {len(verb)} characters; at most {longest}")
    lock_chain(site.pk)
    ends = AuditEvent.objects.filter(site_id=site.pk).order_by("-sequence")
    sequence, digest = ends.values_list("sequence", "digest").first() or (0, "")
    key = _key_of(person)
    entries, stands = seal_new(target, also, key)
    history = getattr(target, "history", None)
    if history is not None:
        copies = history.order_by("-history_id")
        detail["history_id"] = copies.values_list("history_id", flat=True).first()
    if stands:
        detail["stands"] = stands
    event = AuditEvent(
        site_id=site.pk,
        sequence=sequence + 1,
        at=timezone.now(),
        actor=f"{by} ({by.username})" if by else "the program",
        actor_role=by.role if by else "",
        verb=verb,
        target_kind=target._meta.model_name or "",
        target_id=str(target.pk),
        person_id=person.pk if person else None,
        payload=sealed_for(canonical(detail), key),
        sealed=canonical(entries),
        previous_digest=digest,
    )
    event.digest = digest_of(event)
    event.save(force_insert=True)
    receipts.note(by=by, target=target, person=person)


def faults(site_id: int) -> Iterator[str]:
    """Every place where a site's chain does not hold, as one sentence each.

    A tail cut off leaves a whole chain behind: the daily digest file shows it
    (`clinic.accounts.writes.digests`).
    """
    previous, expected = "", 1
    for event in AuditEvent.objects.filter(site_id=site_id).order_by("sequence").iterator():
        if event.sequence != expected:
            yield f"row {expected} of site {site_id} is missing"
        if event.previous_digest != previous:
            yield f"row {event.sequence} of site {site_id} does not follow the row before it"
        if event.digest != digest_of(event):
            yield f"row {event.sequence} of site {site_id} was altered"
        previous, expected = event.digest, event.sequence + 1
