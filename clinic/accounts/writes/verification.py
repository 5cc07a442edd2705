"""Whether the record is the one that was written: chain, copies, rows, files, triggers, keys, digest file.

The chain's rows carry the hash of each copy and row they wrote. A full pass follows every hash to its copy,
every copy to its row and every row to its file; it reads in pieces of fixed size. The daily part follows what
was written since the last line of the digest file.
"""

from __future__ import annotations

import hashlib
import json
import time
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from decimal import InvalidOperation
from typing import Any, NamedTuple

from cryptography.fernet import Fernet, InvalidToken
from django.apps import apps
from django.db import DataError, OperationalError, connection, models
from django.db.models import Exists, OuterRef
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.models import AuditEvent, Erasure, ErasurePermit, Person, PersonKey, Verification, ViewBatch
from clinic.record import append_only
from clinic.record.writes import audit, seals
from clinic.record.writes import read_log as reads
from clinic.relief.reads.stored_plans import altered_plans

__all__ = ["Fault", "verify", "verify_and_keep"]

#: Rows read at a time: design choice, small enough for any machine.
PIECE = 1000
#: What reading a value raises that is no value of its column.
UNREADABLE = (ValueError, TypeError, InvalidOperation, DataError, OperationalError)
#: Sentences of one check that are kept for the managers' page: design choice.
KEPT = 100


@dataclass(frozen=True)
class Fault:
    """One place where the record is not as it was written."""

    words: str
    #: What stands there and what stood before: of a person, so only for whoever runs the command.
    values: str = ""

    def __str__(self) -> str:
        return f"{self.words}: {self.values}" if self.values else self.words


class _Sealed(NamedTuple):
    """The hash of a row without copies, and the row of the chain that carries it."""

    at: datetime
    site: int
    sequence: int
    person: int | None
    digest: str


@dataclass
class _Chain:
    """What a pass over the chains found out for the checks after it."""

    #: Copies that the chain carries and that are there, by table.
    carried: Counter[str] = field(default_factory=Counter)
    #: Rows of each table of which a copy was carried: the daily part looks at these only.
    touched: dict[str, set[int]] = field(default_factory=dict)
    #: Newest hash of each row without copies.
    rows: dict[tuple[str, int], _Sealed] = field(default_factory=dict)


def _each(
    table: str, keys: list[int], look: Callable[[list[int]], Iterator[Fault]], words: str = "cannot be read"
) -> Iterator[Fault]:
    """Look at rows together; where one cannot be read, by halves, until it is named."""
    try:
        yield from list(look(keys))
    except UNREADABLE:
        if len(keys) == 1:
            yield Fault(f"{table}: row {keys[0]} {words}: a value is none of its column")
            return
        half = len(keys) // 2
        yield from _each(table, keys[:half], look, words)
        yield from _each(table, keys[half:], look, words)


def _day(at: datetime) -> str:
    return f"{timezone.localtime(at):%-d %b %Y}"


def _erased() -> tuple[set[int], dict[str, set[int]], dict[str, set[int]]]:
    """People, rows by table and single copies by table that erasures by law removed, as the chain tells."""
    people: set[int] = set()
    rows: dict[str, set[int]] = {}
    copies: dict[str, set[int]] = {}
    for event in AuditEvent.objects.filter(verb="erased", target_kind="erasure").iterator():
        told = json.loads(event.payload)
        people |= {told["number"], *told["merged"]}
        for into, key in ((rows, "erased_rows"), (copies, "erased_copies")):
            for name, numbers in told.get(key, {}).items():
                into.setdefault(name, set()).update(numbers)
    return people, rows, copies


# --- The chain, and the copies its rows carry --------------------------------------------------------------
def _chain(site_id: int, after: int, previous: str, seen: _Chain, erased: Any) -> Iterator[Fault]:
    expected = after + 1
    piece: list[AuditEvent] = []
    rows = AuditEvent.objects.filter(site_id=site_id, sequence__gt=after).order_by("sequence")
    for event in _events(rows):
        if isinstance(event, Fault):
            yield event
            return
        at = f"row {event.sequence} of site {site_id}"
        if event.sequence != expected:
            yield Fault(
                f"clinic_auditevent: row {expected} of site {site_id} is missing before {_day(event.at)}"
            )
        if event.previous_digest != previous:
            yield Fault(f"clinic_auditevent: {at}, {_day(event.at)}, does not follow the row before it")
        if event.digest != audit.digest_of(event):
            yield Fault(f"clinic_auditevent: {at}, {_day(event.at)}, was altered")
        previous, expected = event.digest, event.sequence + 1
        piece.append(event)
        if len(piece) == PIECE:
            yield from _piece(piece, seen, erased)
            piece = []
    yield from _piece(piece, seen, erased)


def _events(rows: Any) -> Iterator[AuditEvent | Fault]:
    last = 0
    try:
        for event in rows.iterator(chunk_size=PIECE):
            last = event.sequence
            yield event
    except UNREADABLE:
        # The rows were read in pieces: the one that cannot be read is within the piece after the last.
        for number in rows.filter(sequence__gt=last).values_list("sequence", flat=True)[: 2 * PIECE]:
            try:
                rows.get(sequence=number)
            except UNREADABLE:
                yield Fault(f"clinic_auditevent: row {number} cannot be read: a value is none of its column")
                return


def _piece(events: list[AuditEvent], seen: _Chain, erased: Any) -> Iterator[Fault]:
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
                sealed = _Sealed(event.at, event.site_id, event.sequence, event.person_id, digest)
                seen.rows[name, row] = max(
                    sealed, seen.rows.get((name, row), sealed), key=lambda one: one[:3]
                )
            else:
                by_model.setdefault(name, []).append(([row, copy, count, digest], event))
    for name, told in by_model.items():
        yield from _copies(name, told, seen, erased)


def _keys(events: list[AuditEvent], erased: set[int]) -> Iterator[Fault]:
    keys = PersonKey.objects.in_bulk({event.person_id for event in events if event.person_id})
    for event in events:
        if event.person_id is None:
            continue
        held = keys.get(event.person_id)
        if held is None:
            if event.person_id not in erased:
                yield Fault(
                    f"clinic_personkey: row {event.person_id} is gone without an erasure; "
                    f"it opened row {event.sequence} of site {event.site_id}, {_day(event.at)}"
                )
            continue
        try:
            if urlsafe_b64encode(urlsafe_b64decode(held.key)).decode() != held.key:
                raise InvalidToken  # the decoder passes over letters behind the key
            Fernet(held.key).decrypt(event.payload.encode())
        except (InvalidToken, ValueError):
            yield Fault(
                f"clinic_personkey: row {event.person_id} does not open row {event.sequence} of site "
                f"{event.site_id}, {_day(event.at)}"
            )


def _copies(
    name: str, told: list[tuple[list[Any], AuditEvent]], seen: _Chain, erased: Any
) -> Iterator[Fault]:
    model = apps.get_model("clinic", name)
    of_counts: dict[int, list[tuple[list[Any], AuditEvent]]] = {}
    for one in told:
        of_counts.setdefault(one[0][2], []).append(one)
    for count, group in of_counts.items():
        by_copy = {entry[1]: (entry, event) for entry, event in group}
        columns = seals.columns_of(model, count)

        def look(keys: list[int], columns: Any = columns, by_copy: Any = by_copy) -> Iterator[Fault]:
            found = seals.copies_in_numbers(model, keys, columns)
            return _copies_read(model, [by_copy[key] for key in keys], found, seen, erased)

        yield from _each(model._meta.db_table, list(by_copy), look)


def _copies_read(model: Any, told: Any, found: Any, seen: _Chain, erased: Any) -> Iterator[Fault]:
    table, name = model._meta.db_table, model._meta.model_name
    noun = name.removeprefix("historical")
    for (row, copy, _, digest), event in told:
        seen.touched.setdefault(noun, set()).add(row)
        carrier = f"row {event.sequence} of site {event.site_id}"
        if copy in found:
            seen.carried[name] += 1
            if seals.copy_digest(model, *found[copy]) != digest:
                yield Fault(
                    f"{table}: row {copy}, a copy of {noun} {row}, is not the one of {_day(event.at)} that "
                    f"{carrier} carries"
                )
        elif row not in erased[1].get(noun, ()) and copy not in erased[2].get(noun, ()):
            yield Fault(
                f"{table}: row {copy}, a copy of {noun} {row} of {_day(event.at)}, is gone; {carrier} carries it"
            )


def _slipped_in_copies(seen: _Chain) -> Iterator[Fault]:
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
                yield Fault(
                    f"{model._meta.db_table}: row {copy}, a copy of {name.removeprefix('historical')} {row} of "
                    f"{_day(at)}, is carried by no row of the chain"
                )


# --- Rows and their newest copy ----------------------------------------------------------------------------
def _live(model: type[Any], only: set[int] | None) -> Iterator[Fault]:
    history = model.history.model
    columns = [f.attname for f in model._meta.concrete_fields if hasattr(history, f.attname)]
    keys = (
        iter(sorted(only))
        if only is not None
        else model._base_manager.order_by("pk").values_list("pk", flat=True).iterator(chunk_size=PIECE)
    )

    def look(some: list[int]) -> Iterator[Fault]:
        return _live_piece(model, columns, some)

    piece: list[int] = []
    for key in keys:
        piece.append(key)
        if len(piece) == PIECE:
            yield from _each(model._meta.db_table, piece, look)
            piece = []
    yield from _each(model._meta.db_table, piece, look)


def _newest(history: type[Any], columns: list[str], piece: list[int]) -> dict[int, tuple[Any, ...]]:
    rows = history._base_manager.filter(id__in=piece).order_by("history_id")
    return {row[0]: row for row in rows.values_list("id", "history_id", "history_date", *columns)}


def _live_piece(model: type[Any], columns: list[str], piece: list[int]) -> Iterator[Fault]:
    if not piece:
        return
    table, history = model._meta.db_table, model.history.model
    copies = _newest(history, columns, piece)
    live = {row[0]: row[1:] for row in model._base_manager.filter(pk__in=piece).values_list("pk", *columns)}
    for key, values in live.items():
        copy = copies.get(key)
        if copy is None:
            yield Fault(f"{table}: row {key} has no copy, so nobody wrote it")
            continue
        for name, now, then in zip(columns, values, copy[3:], strict=True):
            if now != then or type(now) is not type(then):
                yield Fault(
                    f"{table}: row {key}, column {name}, is not as it was written on {_day(copy[2])}",
                    f"it is {now!r}, it was {then!r}",
                )
    for field_ in getattr(history, "_history_m2m_fields", ()):
        yield from _live_list(model, field_, copies)


def _live_list(model: type[Any], of: Any, copies: dict[int, tuple[Any, ...]]) -> Iterator[Fault]:
    through = of.remote_field.through
    here, there = f"{of.m2m_field_name()}_id", f"{of.m2m_reverse_field_name()}_id"
    now: dict[int, list[int]] = {}
    for row, listed in through._base_manager.filter(**{f"{here}__in": copies}).values_list(here, there):
        now.setdefault(row, []).append(listed)
    kept = seals.lists_of(model.history.model, [copy[1] for copy in copies.values()])
    for row, copy in copies.items():
        then = kept.get(copy[1], [[]])[0]
        if sorted(now.get(row, [])) != sorted(then):
            yield Fault(
                f"{through._meta.db_table}: list of {model._meta.db_table} row {row} is not as it was written on "
                f"{_day(copy[2])}",
                f"it is {sorted(now.get(row, []))}, it was {sorted(then)}",
            )


def _gone(model: type[Any]) -> Iterator[Fault]:
    """Rows of which only copies are left; an erasure takes those too."""
    there = model._base_manager.filter(pk=OuterRef("id"))
    orphans = model.history.model._base_manager.filter(~Exists(there)).order_by("id", "history_id")
    newest: dict[int, datetime] = dict(orphans.values_list("id", "history_date").iterator(chunk_size=PIECE))
    for row, at in newest.items():
        yield Fault(f"{model._meta.db_table}: row {row} is gone; it stood since {_day(at)}")


def _recorded() -> Iterator[type[Any]]:
    """Rows of the clinic that keep copies."""
    for model in apps.get_app_config("clinic").get_models():
        if hasattr(model, "history") and not (model._meta.model_name or "").startswith("historical"):
            yield model


# --- Rows without copies -----------------------------------------------------------------------------------
def _plain(seen: _Chain, erased: Any, *, full: bool) -> Iterator[Fault]:
    people = {sealed.person for sealed in seen.rows.values() if sealed.person}
    keys: dict[int, str] = {}
    for start in range(0, len(people), PIECE):
        some = sorted(people)[start : start + PIECE]
        keys |= dict(PersonKey.objects.filter(pk__in=some).values_list("person_id", "key"))
    for label in seals.plain_models():
        model = apps.get_model(label)
        table = model._meta.db_table
        told = {row for name, row in seen.rows if name == label}
        there: set[int] = set()
        numbers = sorted(model._base_manager.values_list("pk", flat=True)) if full else sorted(told)

        def look(some: list[int], model: Any = model, there: set[int] = there) -> Iterator[Fault]:
            for row, values, beside in seals.kept_rows(model, some):
                there.add(row)
                yield from _plain_row(model, row, values, beside, seen, keys)

        for start in range(0, len(numbers), PIECE):
            yield from _each(table, numbers[start : start + PIECE], look)
        there |= set(model._base_manager.filter(pk__in=told - there).values_list("pk", flat=True))
        for row in sorted(told - there - erased[1].get(label, set())):
            yield Fault(f"{table}: row {row} is gone; it stood on {_day(seen.rows[label, row].at)}")


def _plain_row(
    model: type[Any], row: int, values: Any, beside: Any, seen: _Chain, keys: dict[int, str]
) -> Iterator[Fault]:
    table, known = model._meta.db_table, seen.rows.get((model._meta.label_lower, row))
    if known is None:
        yield Fault(f"{table}: row {row} is carried by no row of the chain, so nobody wrote it")
        return
    person, at = known.person, known.at
    if person is not None and person not in keys:
        return  # told of under a key that an erasure destroyed, or that is missing, which was said
    if seals.row_digest(model, values, beside, keys.get(person or 0, "")) == known.digest:
        return
    event = AuditEvent.objects.get(site_id=known.site, sequence=known.sequence)
    stood = json.loads(event.detail or "{}").get("stands", {}).get(f"{model._meta.label_lower} {row}", {})
    now = seals.state_of(model, values)
    columns = [name for name in now if name in stood and now[name] != stood[name]]
    yield Fault(
        f"{table}: row {row}{', column ' + ', '.join(columns) if columns else ''}, is not as it was written on "
        f"{_day(at)}",
        "; ".join(f"{name} is {now[name]!r}, it was {stood[name]!r}" for name in columns),
    )


# --- Files, triggers, permits, keys ------------------------------------------------------------------------
def _files(model: type[Any]) -> Iterator[Fault]:
    """A kept file has the hash of its content as its name."""
    for column in (f for f in model._meta.concrete_fields if isinstance(f, models.FileField)):
        for row in model._base_manager.order_by("pk").only("pk", column.name).iterator(chunk_size=PIECE):
            file = getattr(row, column.name)
            where = f"{model._meta.db_table}: file of row {row.pk}"
            if not file:
                continue
            if not file.storage.exists(str(file.name)):
                yield Fault(f"{where} is missing from the store")
                continue
            with file.storage.open(str(file.name)) as opened:
                digest = hashlib.file_digest(opened, "sha256").hexdigest()
            if digest != str(file.name).rsplit("/", 1)[-1].split(".")[0]:
                yield Fault(f"{where} is not the one that was stored")


def _standing() -> Iterator[Fault]:
    for name in append_only.missing(connection):
        yield Fault(f"trigger {name} is missing: rows can be altered in the database")
    for name in append_only.altered(connection):
        yield Fault(f"trigger {name} is not the program's: rows can be altered in the database")
    for permit in ErasurePermit.objects.order_by("pk"):
        yield Fault(f"clinic_erasurepermit: row {permit.pk} stands, so copies can be removed")


def _loose_keys() -> Iterator[Fault]:
    there = Person.objects.filter(pk=OuterRef("person_id"))
    for key in PersonKey.objects.filter(~Exists(there)).order_by("pk"):
        yield Fault(f"clinic_personkey: row {key.pk} is the key of nobody")
    told = AuditEvent.objects.filter(person_id=OuterRef("person_id"))
    for key in PersonKey.objects.filter(~Exists(told)).order_by("pk"):
        yield Fault(f"clinic_personkey: row {key.pk} opens no row of the chain")
    # An erasure of which the chain knows nothing would excuse a missing key.
    people, _, _ = _erased()
    for erasure in Erasure.objects.exclude(person_id__in=people).order_by("pk"):
        yield Fault(f"clinic_erasure: row {erasure.pk} is carried by no row of the chain, so nobody wrote it")


def verify(*, full: bool = True) -> Iterator[Fault]:
    """Every difference between the record and what was written, each once and named."""
    seen, erased = _Chain(), _erased()
    lines = {} if full else digests.newest_lines()
    sites = {*AuditEvent.objects.order_by().values_list("site_id", flat=True).distinct()}
    for site_id in sorted(sites):
        line = lines.get(site_id, {"rows": 0, "digest": ""})
        yield from _chain(site_id, line["rows"], line["digest"], seen, erased)
    yield from map(Fault, digests.faults())
    yield from _standing()
    if full:
        for site_id in sorted({*ViewBatch.objects.order_by().values_list("site_id", flat=True).distinct()}):
            yield from map(Fault, reads.faults(site_id))
        yield from _slipped_in_copies(seen)
        yield from _loose_keys()
        yield from (
            Fault(f"offload_reliefplan: row {row} is not as its digest says") for row in altered_plans()
        )
    for model in _recorded():
        name = model._meta.model_name or ""
        yield from _live(model, None if full else seen.touched.get(name, set()))
        if full:
            yield from _gone(model)
            yield from _files(model)
    yield from _plain(seen, erased, full=full)


def verify_and_keep(*, full: bool) -> tuple[Verification, list[Fault]]:
    """Verify, and keep what was found for the managers' page: places and days, no value of anybody."""
    began, at = time.monotonic(), timezone.now()
    found = list(verify(full=full))
    kept = Verification.objects.create(
        at=at,
        full=full,
        faults=len(found),
        words=[fault.words for fault in found[:KEPT]],
        rows=AuditEvent.objects.count(),
        seconds=round(time.monotonic() - began, 1),
    )
    return kept, found
