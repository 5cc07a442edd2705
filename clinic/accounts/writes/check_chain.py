"""The chains against themselves, and the copies that their rows carry."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterator
from typing import Any

from cryptography.fernet import Fernet, InvalidToken
from django.apps import apps

from clinic.accounts.writes.check_parts import (
    PIECE,
    AlteredPlace,
    ChainSeen,
    SealedRow,
    day_of,
    each,
)
from clinic.models import AuditEvent, PersonKey
from clinic.record.errors import UNREADABLE
from clinic.record.writes import audit, seals

__all__ = ["chain_differences", "slipped_in_copies"]


def chain_differences(
    site_id: int, after: int, previous: str, seen: ChainSeen, erased: Any
) -> Iterator[AlteredPlace]:
    expected = after + 1
    piece: list[AuditEvent] = []
    rows = AuditEvent.objects.filter(site_id=site_id, sequence__gt=after).order_by("sequence")
    for event in _events(rows, site_id):
        if isinstance(event, AlteredPlace):
            yield event
            return
        at = f"row {event.sequence} of site {site_id}"
        if event.sequence != expected:
            yield AlteredPlace(
                f"clinic_auditevent: row {expected} of site {site_id} is missing before {day_of(event.at)}"
            )
        if event.previous_digest != previous:
            yield AlteredPlace(
                f"clinic_auditevent: {at}, {day_of(event.at)}, does not follow the row before it"
            )
        if event.digest != audit.digest_of(event):
            yield AlteredPlace(f"clinic_auditevent: {at}, {day_of(event.at)}, was altered")
        previous, expected = event.digest, event.sequence + 1
        piece.append(event)
        if len(piece) == PIECE:
            yield from _piece(piece, seen, erased)
            piece = []
    yield from _piece(piece, seen, erased)


def _events(rows: Any, site_id: int) -> Iterator[AuditEvent | AlteredPlace]:
    last = 0
    try:
        for event in rows.iterator(chunk_size=PIECE):
            yield _timed(event)
            last = event.sequence
    except UNREADABLE:
        # The rows were read in pieces: the one that cannot be read is within the piece after the last.
        for number in rows.filter(sequence__gt=last).values_list("sequence", flat=True)[: 2 * PIECE]:
            try:
                _timed(rows.get(sequence=number))
            except UNREADABLE:
                yield AlteredPlace(
                    f"clinic_auditevent: row {number} of site {site_id} cannot be read: a value is none of "
                    "its column"
                )
                return


def _timed(event: AuditEvent) -> AuditEvent:
    if event.at is None:  # how a time that is none is read on SQLite
        raise ValueError("at")
    return event


def _piece(events: list[AuditEvent], seen: ChainSeen, erased: Any) -> Iterator[AlteredPlace]:
    yield from _keys(events, erased[0])
    by_model: dict[str, list[tuple[list[Any], AuditEvent]]] = {}
    for event in events:
        try:
            entries = [
                (name, row, copy, count, digest)
                for name, row, copy, count, digest in json.loads(event.sealed)
            ]
        except (ValueError, TypeError):
            continue  # its own digest is wrong then, which was said
        for name, row, copy, count, digest in entries:
            if copy is None:
                sealed = SealedRow(event.at, event.site_id, event.sequence, event.person_id, digest)
                seen.rows[name, row] = max(
                    sealed, seen.rows.get((name, row), sealed), key=lambda one: one[:3]
                )
            else:
                by_model.setdefault(name, []).append(([row, copy, count, digest], event))
    for name, stated in by_model.items():
        yield from _copies(name, stated, seen, erased)


def _keys(events: list[AuditEvent], erased: set[int]) -> Iterator[AlteredPlace]:
    keys = PersonKey.objects.in_bulk({event.person_id for event in events if event.person_id})
    for event in events:
        if event.person_id is None:
            continue
        held = keys.get(event.person_id)
        if held is None:
            if event.person_id not in erased:
                yield AlteredPlace(
                    f"clinic_personkey: row {event.person_id} is gone without an erasure; "
                    f"it opened row {event.sequence} of site {event.site_id}, {day_of(event.at)}"
                )
            continue
        try:
            if urlsafe_b64encode(urlsafe_b64decode(held.key)).decode() != held.key:
                raise InvalidToken  # the decoder passes over letters behind the key
            Fernet(held.key).decrypt(event.payload.encode())
        except (InvalidToken, ValueError):
            yield AlteredPlace(
                f"clinic_personkey: row {event.person_id} does not open row {event.sequence} of site "
                f"{event.site_id}, {day_of(event.at)}"
            )


def _copies(
    name: str, stated: list[tuple[list[Any], AuditEvent]], seen: ChainSeen, erased: Any
) -> Iterator[AlteredPlace]:
    model = apps.get_model("clinic", name)
    of_counts: dict[int, list[tuple[list[Any], AuditEvent]]] = {}
    for one in stated:
        of_counts.setdefault(one[0][2], []).append(one)
    for count, group in of_counts.items():
        by_copy = {entry[1]: (entry, event) for entry, event in group}
        columns = seals.columns_of(model, count)

        def look(keys: list[int], columns: Any = columns, by_copy: Any = by_copy) -> Iterator[AlteredPlace]:
            found = seals.copies_in_numbers(model, keys, columns)
            return _copies_read(model, [by_copy[key] for key in keys], found, seen, erased)

        yield from each(model._meta.db_table, list(by_copy), look)


def _copies_read(model: Any, stated: Any, found: Any, seen: ChainSeen, erased: Any) -> Iterator[AlteredPlace]:
    table, name = model._meta.db_table, model._meta.model_name
    noun = name.removeprefix("historical")
    for (row, copy, _, digest), event in stated:
        if not seen.full:
            seen.touched.setdefault(noun, set()).add(row)
        carrier = f"row {event.sequence} of site {event.site_id}"
        if copy in found:
            seen.carried[name] += 1
            if seals.copy_digest(model, *found[copy]) != digest:
                yield AlteredPlace(
                    f"{table}: row {copy}, a copy of {noun} {row}, is not the one of {day_of(event.at)} that "
                    f"{carrier} carries"
                )
        elif row not in erased[1].get(noun, ()) and copy not in erased[2].get(noun, ()):
            yield AlteredPlace(
                f"{table}: row {copy}, a copy of {noun} {row} of {day_of(event.at)}, is gone; "
                f"{carrier} carries it"
            )


def slipped_in_copies(seen: ChainSeen) -> Iterator[AlteredPlace]:
    """Copies that no row of the chain carries, and lists of copies that are gone."""
    for model in seals.history_models():
        name = model._meta.model_name or ""
        if not hasattr(model, "salt") or model._base_manager.count() == seen.carried[name]:
            continue
        carried: set[int] = set()
        for text in (
            AuditEvent.objects.filter(sealed__contains=f'"{name}"')
            .values_list("sealed", flat=True)
            .iterator()
        ):
            try:
                carried |= {entry[2] for entry in json.loads(text) if entry[0] == name}
            except (ValueError, TypeError, IndexError):
                continue
        rows = model._base_manager.order_by("history_id").values_list("history_id", "id", "history_date")
        for copy, row, at in rows.iterator(chunk_size=PIECE):
            if copy not in carried:
                yield AlteredPlace(
                    f"{model._meta.db_table}: row {copy}, a copy of {name.removeprefix('historical')} "
                    f"{row} of {day_of(at)}, is carried by no row of the chain"
                )
