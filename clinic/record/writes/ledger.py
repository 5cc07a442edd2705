"""Changes written down column by column, so that they can be taken back exactly: of merges and transfers."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.apps import apps

from clinic.models import ClinicalRecord, User
from clinic.record.writes.rows import restrict, store

__all__ = ["Ledger", "moved_rows", "put_back", "stands_as_written"]


def _plain(value: Any) -> Any:
    """A column's value as the ledger keeps it: the same text whichever way it was read."""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value


class Ledger:
    """Stores rows through the one way of writing and keeps what each column said before and says after."""

    def __init__(self, *, by: User, why: str) -> None:
        self.by, self.why = by, why
        self.changes: list[dict[str, Any]] = []

    def write(self, row: ClinicalRecord, *, moved: bool, **columns: Any) -> None:
        """Set columns by their database name. `moved`: undoing depends on them standing as written."""
        before = {name: _plain(getattr(row, name)) for name in columns}
        for name, value in columns.items():
            setattr(row, name, value)
        # A record that is being emptied, or was emptied before, is written here and nowhere else.
        with restrict.lifted():
            store(row, by=self.by, why=self.why)
        noun = row._meta.model_name
        self.changes += [
            {
                "noun": noun,
                "pk": row.pk,
                "column": name,
                "before": before[name],
                "after": _plain(value),
                "moved": moved,
            }
            for name, value in columns.items()
            if before[name] != _plain(value)
        ]

    def counts(self) -> dict[str, int]:
        """Rows that moved, by noun."""
        return moved_rows(self.changes)


def moved_rows(changes: list[dict[str, Any]]) -> dict[str, int]:
    """How many rows some changes moved, by noun."""
    rows = {(change["noun"], change["pk"]) for change in changes if change["moved"]}
    return dict(Counter(noun for noun, _ in sorted(rows)))


def _row(change: dict[str, Any]) -> Any:
    return apps.get_model("clinic", change["noun"])._default_manager.get(pk=change["pk"])


def stands_as_written(change: dict[str, Any]) -> bool:
    return bool(_plain(getattr(_row(change), change["column"])) == change["after"])


def put_back(changes: list[dict[str, Any]], *, by: User, why: str) -> list[dict[str, Any]]:
    """Each column as it was before, the last written first; returns those left alone because they were
    corrected since.
    """
    left: list[dict[str, Any]] = []
    rows: dict[tuple[str, int], list[dict[str, Any]]] = {}
    for change in reversed(changes):
        key = (change["noun"], change["pk"])
        rows.setdefault(key, []).append(change)
    for of_row in rows.values():
        row = _row(of_row[0])
        wrote = False
        for change in of_row:
            if _plain(getattr(row, change["column"])) != change["after"]:
                left.append(change)
                continue
            field = next(f for f in row._meta.concrete_fields if f.attname == change["column"])
            setattr(row, change["column"], field.to_python(change["before"]))
            wrote = True
        if wrote:
            with restrict.lifted():
                store(row, by=by, why=why)
    return left
