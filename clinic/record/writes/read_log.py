"""The log of who opened whose record: one insert a page, bound into the chain of batches afterwards."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from django.db import models, transaction
from django.utils import timezone

from clinic.models import Person, User, ViewBatch, ViewEvent
from clinic.record.errors import UNREADABLE
from clinic.record.writes.audit import canonical, lock_chain

__all__ = ["batch", "faults", "note", "note_list"]


def note(*, by: User, seen: Iterable[tuple[int, int, int | None]], page: str) -> None:
    """One row for each (person, site, glass) shown on a page."""
    now = timezone.now()
    for person_id, site_id, glass_id in seen:
        ViewEvent(
            site_id=site_id,
            at=now,
            actor_id=by.pk,
            actor=f"{by} ({by.username})"[:160],
            actor_role=by.role,
            page=page[:60],
            person_id=person_id,
            glass_id=glass_id,
        ).save(force_insert=True)


def note_list(*, by: User, people: Iterable[int], page: str) -> None:
    """One row a clinic for everybody on a list or in an export."""
    now = timezone.now()
    of_site: dict[int, list[str]] = {}
    places = Person.objects.filter(pk__in=set(people)).order_by("pk").values_list("site_id", "pk")
    for site_id, number in places:
        of_site.setdefault(site_id, []).append(str(number))
    for site_id, numbers in sorted(of_site.items()):
        ViewEvent(
            site_id=site_id,
            at=now,
            actor_id=by.pk,
            actor=f"{by} ({by.username})"[:160],
            actor_role=by.role,
            page=page[:60],
            person_id=None,
            listed=f",{','.join(numbers)},",
        ).save(force_insert=True)


def _digest(previous: str, at: datetime, ends: tuple[int, int], rows: Iterable[ViewEvent]) -> tuple[str, int]:
    head = canonical([previous, at.astimezone(UTC).isoformat(timespec="microseconds"), *ends])
    body, count = hashlib.sha256(head.encode()), 0
    for row in rows:
        count += 1
        lines = [
            row.pk,
            row.site_id,
            row.at.astimezone(UTC).isoformat(timespec="microseconds"),
            row.actor_id,
            row.actor,
            row.actor_role,
            row.page,
            row.person_id,
            row.listed,
            row.glass_id,
        ]
        body.update(canonical(lines).encode() + b"\n")
    return body.hexdigest(), count


@transaction.atomic
def batch(site_id: int) -> ViewBatch | None:
    """Bind the views since the last batch; None when there are none."""
    lock_chain(site_id)
    last = ViewBatch.objects.filter(site_id=site_id).order_by("-sequence").first()
    rows = list(ViewEvent.objects.filter(site_id=site_id, pk__gt=last.last_id if last else 0).order_by("pk"))
    if not rows:
        return None
    previous = last.digest if last else ""
    at = timezone.now()
    digest, count = _digest(previous, at, (rows[0].pk, rows[-1].pk), rows)
    made = ViewBatch(
        site_id=site_id,
        sequence=last.sequence + 1 if last else 1,
        at=at,
        first_id=rows[0].pk,
        last_id=rows[-1].pk,
        rows=count,
        previous_digest=previous,
        digest=digest,
    )
    made.save(force_insert=True)
    return made


def faults(site_id: int) -> Iterator[str]:
    """Every batch that does not hold, and every read that none holds, as one sentence each."""
    previous, expected, bound, last = "", 1, 0, 0
    of_site = ViewEvent.objects.filter(site_id=site_id)
    batches = ViewBatch.objects.filter(site_id=site_id).order_by("sequence")
    for number, sequence, rows, last_id, digest in batches.values_list(
        "pk", "sequence", "rows", "last_id", "digest"
    ):
        if sequence != expected:
            yield f"clinic_viewbatch: batch {expected} of the reads of site {site_id} is missing"
        try:
            yield from list(_batch_faults(batches.get(pk=number), previous, of_site))
        except UNREADABLE:
            yield (
                f"clinic_viewbatch: batch {sequence} of the reads of site {site_id}, or a clinic_viewevent "
                "that it binds, cannot be read: a value is none of its column"
            )
        previous, expected = digest, sequence + 1
        bound, last = bound + rows, max(last, last_id)
    loose = of_site.filter(pk__lte=last).count() - bound
    if loose > 0:
        yield f"clinic_viewevent: {loose} reads of site {site_id} up to row {last} are bound by no batch"


def _batch_faults(one: ViewBatch, previous: str, of_site: models.QuerySet[ViewEvent]) -> Iterator[str]:
    words = f"clinic_viewbatch: batch {one.sequence} of the reads of site {one.site_id}, {one.at:%-d %b %Y}"
    if one.previous_digest != previous:
        yield f"{words}, does not follow the batch before it"
    rows = of_site.filter(pk__gte=one.first_id, pk__lte=one.last_id).order_by("pk")
    digest, count = _digest(one.previous_digest, one.at, (one.first_id, one.last_id), rows.iterator())
    if count != one.rows:
        yield (
            f"clinic_viewevent: {words} has {count} rows between {one.first_id} and {one.last_id}, "
            f"{one.rows} were bound"
        )
    elif digest != one.digest:
        yield f"clinic_viewevent: {words}: a read between {one.first_id} and {one.last_id} was altered"
