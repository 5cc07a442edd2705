"""The one function that writes the audit chain, always in the transaction of the change it tells of."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC
from functools import cache
from typing import Any

from cryptography.fernet import Fernet
from django.db import connection, models, transaction
from django.utils import timezone

from clinic.models import AuditEvent, Person, PersonKey, Site, User
from clinic.statements import Asked, Statement, insertion

__all__ = ["canonical", "digest_of", "faults", "lock_chain", "record"]


def canonical(value: Any) -> str:
    """One text for one value, whatever the database does to JSON."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)


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
        ]
    )
    return hashlib.sha256(body.encode()).hexdigest()


def lock_chain(site_id: int) -> None:
    """One writer at a time per chain. SQLite's IMMEDIATE transaction is that lock already."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [7301, site_id])


@cache
def _standing(history: Any) -> Statement:
    """What a new row is bound to: the chain's end, the person's key, and the newest copy of the row it tells of."""
    last = AuditEvent.objects.filter(site_id=models.OuterRef("pk")).order_by("-sequence")
    key = PersonKey.objects.filter(pk=Asked("person", models.BigIntegerField()))
    columns: list[Any] = [last.values("sequence")[:1], last.values("digest")[:1], key.values("key")[:1]]
    if history is not None:
        number = history._meta.get_field(history.instance_type._meta.pk.attname)
        copies = history._default_manager.filter(**{number.name: Asked("target", number)})
        columns.append(copies.order_by("-history_id").values("history_id")[:1])

    @Statement
    def standing() -> models.QuerySet[Site, Any]:
        site = Site.objects.filter(pk=Asked("site", models.BigIntegerField())).order_by()
        return site.values_list(*(models.Subquery(column) for column in columns))

    return standing


def _new_key(person: Person) -> str:
    """Make the key, with the first row that tells of a person; a key made at the same moment elsewhere is kept."""
    fresh = Fernet.generate_key().decode()
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO clinic_personkey (person_id, key) VALUES (%s, %s) ON CONFLICT (person_id) DO NOTHING",
            [person.pk, fresh],
        )
        made = cursor.rowcount == 1
    return fresh if made else PersonKey.objects.get(pk=person.pk).key


def record(
    *,
    by: User,
    site: Site,
    verb: str,
    target: models.Model,
    person: Person | None = None,
    **detail: Any,
) -> None:
    """Append one row to the site's chain. Must run inside the transaction of the change."""
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError(
            "an audit row is written inside the change's transaction"
        )
    lock_chain(site.pk)
    history = getattr(type(target), "history", None)
    standing = _standing(None if history is None else history.model)
    told = {"site": site.pk, "person": person and person.pk, "target": target.pk}
    sequence, digest, key, *newest = standing.rows(**told)[0]
    if history is not None:
        detail["history_id"] = newest[0]
    text = canonical(detail)
    if person is not None:
        # What is said about a person is sealed with that person's key.
        text = Fernet(key or _new_key(person)).encrypt(text.encode()).decode()
    event = AuditEvent(
        site_id=site.pk,
        sequence=(sequence or 0) + 1,
        at=timezone.now(),
        actor=f"{by} ({by.username})",
        actor_role=by.role,
        verb=verb,
        target_kind=target._meta.model_name or "",
        target_id=str(target.pk),
        person_id=person.pk if person else None,
        payload=text,
        previous_digest=digest or "",
    )
    event.digest = digest_of(event)
    written = insertion(AuditEvent)
    written.write({field.attname: getattr(event, field.attname) for field in written.fields})


def faults(site_id: int) -> Iterator[str]:
    """Every place where a site's chain does not hold, as one sentence each.

    A tail cut off leaves a whole chain behind: the daily digest file shows it (`clinic.services.digests`).
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
