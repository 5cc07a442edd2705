"""Rows written by the hundred thousand: COPY on PostgreSQL, one prepared statement on SQLite.

Nothing here goes through a room's writes: no check of a form, no history row, no row of the audit chain a
write. It is for invented networks only; `tests.bench.invented` says in the chain of every site what was done.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models

__all__ = ["BATCH", "Bulk", "reset_sequences"]

BATCH = 20_000


def _text(value: Any) -> str:
    """A value in the text form of COPY. Seeded words hold no tab, line end or backslash."""
    if value is None:
        return "\\N"
    if value is True:
        return "t"
    if value is False:
        return "f"
    return str(value)


class Bulk:
    """Writes rows of one table. `varying` columns come with each row, every other one is the same in all
    rows.
    """

    def __init__(self, model: Any, varying: Sequence[str], **fixed: Any) -> None:
        self.model = model
        self.varying = [model._meta.get_field(name).column for name in varying]
        self.fixed: dict[str, Any] = {}
        for field in model._meta.concrete_fields:
            if field.column in self.varying or (field.primary_key and "pk" not in fixed):
                continue
            value = fixed.get(field.attname, fixed.get(field.name))
            if value is None:
                value = field.get_default()
            if isinstance(field, models.JSONField) and value is not None:
                value = json.dumps(value)
            elif isinstance(field, models.DateTimeField) and value is not None:
                value = str(value)
            self.fixed[field.column] = value
        self.rows: list[tuple[Any, ...]] = []
        self.written = 0
        self._suffix = "".join(f"\t{_text(value)}" for value in self.fixed.values()) + "\n"

    def add(self, *values: Any) -> None:
        self.rows.append(values)
        if len(self.rows) >= BATCH:
            self.flush()

    def flush(self) -> None:
        if not self.rows:
            return
        quote = connection.ops.quote_name
        table = quote(self.model._meta.db_table)
        names = ", ".join(quote(name) for name in (*self.varying, *self.fixed))
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                suffix = self._suffix
                lines = ["\t".join(map(_text, row)) + suffix for row in self.rows]
                with cursor.cursor.copy(f"COPY {table} ({names}) FROM STDIN") as out:
                    out.write("".join(lines))
            else:
                marks = ", ".join(["%s"] * (len(self.varying) + len(self.fixed)))
                same = tuple(self.fixed.values())
                cursor.executemany(
                    f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608  names of our own models
                    [(*row, *same) for row in self.rows],
                )
        self.written += len(self.rows)
        self.rows.clear()


def reset_sequences(tables: Sequence[Any]) -> None:
    """Keys were given by hand; the database's own counters go on after them."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(tables)):
            cursor.execute(statement)
