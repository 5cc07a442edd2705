"""The past of the invented clinic in one file: every row that playing it wrote, to be loaded in seconds.

What the chain says about a person is packed in clear and sealed again on loading, since sealed text cannot be
compressed; the chain is then hashed anew in its order, by the function that checks it. All else is kept as it
was written, keys of people included, so that the hashes inside the chain hold.
"""

from __future__ import annotations

import json
import lzma
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, models, transaction

from clinic.models import AuditEvent, PersonKey
from clinic.record.writes.audit import digest_of, sealed_for

__all__ = ["PACK", "insert_rows", "pack", "packed_until", "unpack"]

PACK = Path(__file__).resolve().parents[2] / "fixtures" / "past.jsonl.xz"
#: Rows sent to the database at once (design choice).
AT_ONCE = 500


def _tables() -> Iterator[type[models.Model]]:
    for app in ("clinic", "offload"):
        yield from apps.get_app_config(app).get_models(include_auto_created=True)


def _columns(model: type[models.Model]) -> list[Any]:
    left_out = ("digest", "previous_digest") if model is AuditEvent else ()
    return [field for field in model._meta.concrete_fields if field.attname not in left_out]


def pack(path: Path, until: date) -> int:
    """Write every row of the database; the number of rows."""
    count = 0
    with lzma.open(path, "wt", encoding="utf-8", preset=6) as file:
        file.write(json.dumps({"until": until.isoformat()}) + "\n")
        for model in _tables():
            names = [field.attname for field in _columns(model)]
            rows = model._base_manager.order_by("pk")
            if not rows.exists():
                continue
            file.write(json.dumps({"table": model._meta.label_lower, "columns": names}) + "\n")
            for row in rows.iterator(AT_ONCE):
                values = [getattr(row, name) for name in names]
                if isinstance(row, AuditEvent):
                    values[names.index("payload")] = row.detail
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
    events: list[AuditEvent] = []
    with lzma.open(path, "rt", encoding="utf-8") as file:
        file.readline()
        waiting: list[models.Model] = []
        model: type[models.Model] = AuditEvent
        fields: list[Any] = []
        for line in file:
            read = json.loads(line)
            if isinstance(read, dict):
                insert_rows(waiting)
                waiting = []
                model = apps.get_model(read["table"])
                by_name = {field.attname: field for field in model._meta.concrete_fields}
                fields = [by_name[name] for name in read["columns"]]
                continue
            count += 1
            row = model(**{f.attname: _value(f, value) for f, value in zip(fields, read, strict=True)})
            if isinstance(row, AuditEvent):
                events.append(row)
                continue
            waiting.append(row)
            if len(waiting) == AT_ONCE:
                insert_rows(waiting)
                waiting = []
        insert_rows(waiting)
    _insert_chain(events)
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(_tables())):
            cursor.execute(statement)
    return count


def _value(field: Any, value: Any) -> Any:
    if isinstance(field, models.JSONField):
        return value
    return (field.target_field if field.is_relation else field).to_python(value)


def insert_rows(rows: list[Any]) -> None:
    """Insert rows of one table as they are; the managers would stamp new times on some columns."""
    if not rows:
        return
    meta, quote = rows[0]._meta, connection.ops.quote_name
    fields = meta.concrete_fields
    columns = ", ".join(quote(field.column) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    values = [
        [field.get_db_prep_save(getattr(row, field.attname), connection) for field in fields] for row in rows
    ]
    with connection.cursor() as cursor:
        statement = f"INSERT INTO {quote(meta.db_table)} ({columns}) VALUES ({places})"  # noqa: S608
        cursor.executemany(statement, values)


def _insert_chain(events: list[AuditEvent]) -> None:
    """Seal and hash the rows of each chain in their order."""
    keys: dict[int | None, str] = dict(PersonKey.objects.values_list("pk", "key"))
    ends: dict[int, str] = {}
    for row in sorted(events, key=lambda one: (one.site_id, one.sequence)):
        row.payload = sealed_for(row.payload, keys.get(row.person_id, ""))
        row.previous_digest = ends.get(row.site_id, "")
        row.digest = ends[row.site_id] = digest_of(row)
    insert_rows(events)
