"""Rows against their newest copy, and rows without copies against the chain."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import Exists, JSONField, OuterRef, TextField
from django.db.models.functions import Cast

from clinic.accounts.writes.check_parts import (
    PIECE,
    AlteredPlace,
    ChainSeen,
    day_of,
    each,
)
from clinic.models import AuditEvent, PersonKey
from clinic.record.writes import seals

__all__ = ["gone_rows", "live_differences", "plain_differences", "recorded_models"]


def live_differences(model: type[Any], only: set[int] | None) -> Iterator[AlteredPlace]:
    history = model.history.model
    columns = [f.attname for f in model._meta.concrete_fields if hasattr(history, f.attname)]
    if only is not None:
        keys = iter(sorted(only))
    elif getattr(history, "_history_m2m_fields", ()):
        keys = model._base_manager.order_by("pk").values_list("pk", flat=True).iterator(chunk_size=PIECE)
    else:
        keys = _unlike_their_copy(model, columns)

    def look(some: list[int]) -> Iterator[AlteredPlace]:
        return _live_piece(model, columns, some)

    piece: list[int] = []
    for key in keys:
        piece.append(key)
        if len(piece) == PIECE:
            yield from each(model._meta.db_table, piece, look)
            piece = []
    yield from each(model._meta.db_table, piece, look)


def _unlike_their_copy(model: type[Any], columns: list[str]) -> Iterator[int]:
    """Rows without a copy, or with a column unlike the newest one's: the database compares what it stores,
    and only these rows are read and named.
    """
    quote, history = connection.ops.quote_name, model.history.model._meta
    live, copies = quote(model._meta.db_table), quote(history.db_table)
    key = quote(model._meta.pk.column)
    names = [quote(model._meta.get_field(name).column) for name in columns]
    unlike = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
    differs = " OR ".join(f"now.{name} {unlike} kept.{name}" for name in names)
    statement = (
        f"SELECT now.{key} FROM {live} now LEFT JOIN {copies} kept ON kept.history_id = "  # noqa: S608  names
        f"(SELECT MAX(history_id) FROM {copies} one WHERE one.{key} = now.{key}) "
        f"WHERE kept.history_id IS NULL OR {differs} ORDER BY 1"
    )
    with connection.cursor() as cursor:
        cursor.execute(statement)
        while found := cursor.fetchmany(PIECE):
            yield from (row[0] for row in found)


def _as_kept(model: type[Any], columns: list[str]) -> list[Any]:
    """The columns as they are compared: JSON as its text, for reading it is most of the work."""
    return [
        Cast(name, TextField()) if isinstance(model._meta.get_field(name), JSONField) else name
        for name in columns
    ]


def _newest(history: type[Any], columns: list[str], piece: list[int]) -> dict[int, tuple[Any, ...]]:
    rows = history._base_manager.filter(id__in=piece).order_by("history_id")
    as_kept = _as_kept(history, columns)
    return {row[0]: row for row in rows.values_list("id", "history_id", "history_date", *as_kept)}


def _differ(model: type[Any], name: str, now: Any, then: Any) -> bool:
    if now == then and type(now) is type(then):
        return False
    both = isinstance(now, str) and isinstance(then, str)
    if both and isinstance(model._meta.get_field(name), JSONField):
        return bool(json.loads(now) != json.loads(then))  # one value, in two orders or spacings
    return True


def _live_piece(model: type[Any], columns: list[str], piece: list[int]) -> Iterator[AlteredPlace]:
    if not piece:
        return
    table, history = model._meta.db_table, model.history.model
    copies = _newest(history, columns, piece)
    rows = model._base_manager.filter(pk__in=piece)
    live = {row[0]: row[1:] for row in rows.values_list("pk", *_as_kept(model, columns))}
    for key, values in live.items():
        copy = copies.get(key)
        if copy is None:
            yield AlteredPlace(f"{table}: row {key} has no copy, so nobody wrote it")
            continue
        for name, now, then in zip(columns, values, copy[3:], strict=True):
            if _differ(model, name, now, then):
                yield AlteredPlace(
                    f"{table}: row {key}, column {name}, is not as it was written on {day_of(copy[2])}",
                    f"it is {now!r}, it was {then!r}",
                )
    for field_ in getattr(history, "_history_m2m_fields", ()):
        yield from _live_list(model, field_, copies)


def _live_list(model: type[Any], of: Any, copies: dict[int, tuple[Any, ...]]) -> Iterator[AlteredPlace]:
    through = of.remote_field.through
    here, there = f"{of.m2m_field_name()}_id", f"{of.m2m_reverse_field_name()}_id"
    now: dict[int, list[int]] = {}
    for row, listed in through._base_manager.filter(**{f"{here}__in": copies}).values_list(here, there):
        now.setdefault(row, []).append(listed)
    kept = seals.lists_of(model.history.model, [copy[1] for copy in copies.values()])
    for row, copy in copies.items():
        then = [listed for listed, *_ in kept.get(copy[1], [[]])[0]]
        if sorted(now.get(row, [])) != sorted(then):
            yield AlteredPlace(
                f"{through._meta.db_table}: list of {model._meta.db_table} row {row} is not as it was "
                f"written on {day_of(copy[2])}",
                f"it is {sorted(now.get(row, []))}, it was {sorted(then)}",
            )


def gone_rows(model: type[Any]) -> Iterator[AlteredPlace]:
    """Rows of which only copies are left; an erasure takes those too."""
    there = model._base_manager.filter(pk=OuterRef("id"))
    orphans = model.history.model._base_manager.filter(~Exists(there)).order_by("id", "history_id")
    newest: dict[int, datetime] = dict(orphans.values_list("id", "history_date").iterator(chunk_size=PIECE))
    for row, at in newest.items():
        yield AlteredPlace(f"{model._meta.db_table}: row {row} is gone; it stood since {day_of(at)}")


def recorded_models() -> Iterator[type[Any]]:
    """Rows of the clinic that keep copies."""
    for model in apps.get_app_config("clinic").get_models():
        if hasattr(model, "history") and not (model._meta.model_name or "").startswith("historical"):
            yield model


def plain_differences(seen: ChainSeen, erased: Any, *, full: bool) -> Iterator[AlteredPlace]:
    people = {sealed.person for sealed in seen.rows.values() if sealed.person}
    keys: dict[int, str] = {}
    for start in range(0, len(people), PIECE):
        some = sorted(people)[start : start + PIECE]
        keys |= dict(PersonKey.objects.filter(pk__in=some).values_list("person_id", "key"))
    for label in seals.plain_models():
        model = apps.get_model(label)
        table = model._meta.db_table
        stated = {row for name, row in seen.rows if name == label}
        there: set[int] = set()
        numbers = sorted(model._base_manager.values_list("pk", flat=True)) if full else sorted(stated)

        def look(some: list[int], model: Any = model, there: set[int] = there) -> Iterator[AlteredPlace]:
            for row, values, beside in seals.kept_rows(model, some):
                there.add(row)
                yield from _plain_row(model, row, values, beside, seen, keys)

        for start in range(0, len(numbers), PIECE):
            yield from each(table, numbers[start : start + PIECE], look)
        there |= set(model._base_manager.filter(pk__in=stated - there).values_list("pk", flat=True))
        for row in sorted(stated - there - erased[1].get(label, set())):
            yield AlteredPlace(f"{table}: row {row} is gone; it stood on {day_of(seen.rows[label, row].at)}")


def _plain_row(
    model: type[Any], row: int, values: Any, beside: Any, seen: ChainSeen, keys: dict[int, str]
) -> Iterator[AlteredPlace]:
    table, known = model._meta.db_table, seen.rows.get((model._meta.label_lower, row))
    if known is None:
        yield AlteredPlace(f"{table}: row {row} is carried by no row of the chain, so nobody wrote it")
        return
    person, at = known.person, known.at
    if person is not None and person not in keys:
        return  # stated of under a key that an erasure destroyed, or that is missing, which was said
    if seals.row_digest(model, values, beside, keys.get(person or 0, "")) == known.digest:
        return
    event = AuditEvent.objects.get(site_id=known.site, sequence=known.sequence)
    stood = json.loads(event.detail or "{}").get("stands", {}).get(f"{model._meta.label_lower} {row}", {})
    now = seals.state_of(model, values)
    columns = [name for name in now if name in stood and now[name] != stood[name]]
    yield AlteredPlace(
        f"{table}: row {row}{', column ' + ', '.join(columns) if columns else ''}, is not as it was "
        f"written on {day_of(at)}",
        "; ".join(f"{name} is {now[name]!r}, it was {stood[name]!r}" for name in columns),
    )
