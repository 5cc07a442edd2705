"""The past of the invented clinic in one file: every row that playing it wrote, to be loaded in seconds.

What the chain says about a person is packed in clear and sealed again on loading, since sealed text cannot be
compressed; the chain is then hashed anew in its order, by the function that checks it. All else is kept as it
was written, keys of people included, so that the hashes inside the chain hold.
"""

from __future__ import annotations

import json
import lzma
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, connections, models, transaction

from clinic.models import AuditEvent, PersonKey
from clinic.record.writes.audit import digest_of, sealed_for

__all__ = ["PACK", "insert_rows", "pack", "packed_until", "unpack"]

PACK = Path(__file__).resolve().parents[2] / "fixtures" / "past.jsonl.xz"
#: Rows sent to the database at once (design choice).
AT_ONCE = 500
#: Columns whose packed value is the database's own.
AS_PACKED = (models.CharField, models.TextField, models.IntegerField, models.BooleanField, models.FloatField)


def _tables() -> Iterator[type[models.Model]]:
    for app in ("clinic", "offload"):
        yield from apps.get_app_config(app).get_models(include_auto_created=True)


def _columns(model: type[models.Model]) -> list[Any]:
    left_out = ("digest", "previous_digest") if model is AuditEvent else ()
    return [field for field in model._meta.concrete_fields if field.attname not in left_out]


def pack(path: Path, until: date) -> int:
    """Write every row of the database; the number of rows.

    A JSON column holds the place of its text: each distinct text is a line of its own, before the first row
    that holds it. History copies repeat most of them, and none is parsed on loading.
    """
    count = 0
    places: dict[str, int] = {}
    with lzma.open(path, "wt", encoding="utf-8", preset=6) as file:
        file.write(json.dumps({"until": until.isoformat()}) + "\n")
        for model in _tables():
            fields = _columns(model)
            rows = model._base_manager.order_by("pk")
            if not rows.exists():
                continue
            names = [field.attname for field in fields]
            file.write(json.dumps({"table": model._meta.label_lower, "columns": names}) + "\n")
            for row in rows.iterator(AT_ONCE):
                values = [getattr(row, name) for name in names]
                if isinstance(row, AuditEvent):
                    values[names.index("payload")] = row.detail
                for at, field in enumerate(fields):
                    if isinstance(field, models.JSONField) and values[at] is not None:
                        text = json.dumps(values[at], cls=field.encoder)
                        if text not in places:
                            file.write(json.dumps(text) + "\n")
                        values[at] = places.setdefault(text, len(places))
                # The framework's encoder would cut microseconds off, over which hashes were made.
                file.write(json.dumps(values, default=str, separators=(",", ":")) + "\n")
                count += 1
    return count


def packed_until(path: Path) -> date:
    """The last day of the packed past."""
    with lzma.open(path, "rt", encoding="utf-8") as file:
        return date.fromisoformat(json.loads(file.readline())["until"])


@transaction.atomic
def unpack(path: Path) -> int:
    """Load the packed rows into an empty database; the number of rows."""
    count = 0
    texts: list[str] = []
    chain = table = _Table(AuditEvent, [], texts)
    with lzma.open(path, "rt", encoding="utf-8") as file:
        file.readline()
        for line in file:
            read = json.loads(line)
            if isinstance(read, str):
                texts.append(read)
            elif isinstance(read, dict):
                table.insert()
                table = _Table(apps.get_model(read["table"]), read["columns"], texts)
                chain = table if table.model is AuditEvent else chain
            else:
                table.add(read)
                count += 1
        table.insert()
    _insert_chain([AuditEvent(**dict(zip(chain.names, row, strict=True))) for row in chain.rows])
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(_tables())):
            cursor.execute(statement)
    return count


class _Table:
    """Packed rows of one table on their way into the database."""

    def __init__(self, model: type[models.Model], names: list[str], texts: list[str]) -> None:
        by_name = {field.attname: field for field in model._meta.concrete_fields}
        self.model, self.names = model, names
        self.fields = [by_name[name] for name in names]
        prepared = [(at, _prepared(field, texts)) for at, field in enumerate(self.fields)]
        self.prepared = [(at, function) for at, function in prepared if function]
        self.rows: list[list[Any]] = []

    def add(self, row: list[Any]) -> None:
        self.rows.append(row)
        if len(self.rows) == AT_ONCE:
            self.insert()

    def insert(self) -> None:
        if self.model is AuditEvent:
            return  # last of all, when every person's key is there
        for row in self.rows:
            for at, function in self.prepared:
                if row[at] is not None:
                    row[at] = function(row[at])
        _insert(self.model, self.fields, self.rows)
        self.rows = []


def _prepared(field: Any, texts: list[str]) -> Callable[[Any], Any] | None:
    """What makes the database's value of a packed one; nothing where they are the same."""
    while field.is_relation:
        field = field.target_field
    if isinstance(field, models.JSONField):
        return texts.__getitem__
    if isinstance(field, AS_PACKED):
        return None
    database = connections[connection.alias]  # itself: each look through the proxy costs as much as a value
    return lambda value: field.get_db_prep_save(field.to_python(value), database)


def insert_rows(rows: list[Any]) -> None:
    """Insert rows of one table as they are; the managers would stamp new times on some columns."""
    if not rows:
        return
    fields, database = rows[0]._meta.concrete_fields, connections[connection.alias]
    values = [
        [field.get_db_prep_save(getattr(row, field.attname), database) for field in fields] for row in rows
    ]
    _insert(type(rows[0]), fields, values)


def _insert(model: type[models.Model], fields: Sequence[Any], values: list[list[Any]]) -> None:
    if not values:
        return
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    with connection.cursor() as cursor:
        statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})"  # noqa: S608
        cursor.executemany(statement, values)


def _insert_chain(events: list[AuditEvent]) -> None:
    """Seal and hash the rows of each chain in their order."""
    keys: dict[int | None, str] = dict(PersonKey.objects.values_list("pk", "key"))
    ends: dict[int, str] = {}
    for row in sorted(events, key=lambda one: (one.site_id, one.sequence)):
        row.at = datetime.fromisoformat(str(row.at))
        row.payload = sealed_for(row.payload, keys.get(row.person_id, ""))
        row.previous_digest = ends.get(row.site_id, "")
        row.digest = ends[row.site_id] = digest_of(row)
    insert_rows(events)
