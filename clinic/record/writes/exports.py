"""A list or a report leaves the clinic as CSV, JSON or PDF; that it did is itself a row of the audit
chain.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction

from clinic.models import Site, User
from clinic.record.writes import audit

__all__ = ["as_csv", "as_json", "export_bytes", "export_csv", "export_json", "formula_safe"]

# A spreadsheet runs a cell that starts with one of these as a formula (OWASP, CSV injection).
_STARTS = ("=", "+", "-", "@", "\t", "\r")


def formula_safe(cell: Any) -> Any:
    """Text that a spreadsheet would run is kept as text; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_STARTS) else cell


def as_csv(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> tuple[str, int]:
    """The rows as CSV text, and how many there are."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    count = 0
    for row in rows:
        writer.writerow(["" if cell is None else formula_safe(cell) for cell in row])
        count += 1
    return out.getvalue(), count


def as_json(value: Any) -> str:
    """JSON text without NaN, days as text."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, default=str, indent=1)


@transaction.atomic
def export_csv(
    *, by: User, site: Site, what: str, head: Sequence[str], rows: Iterable[Sequence[Any]], **filters: Any
) -> str:
    """The rows as CSV text, with the export written to the site's chain."""
    text, count = as_csv(head, rows)
    audit.record(by=by, site=site, verb="exported", target=site, what=what, rows=count, form="csv", **filters)
    return text


@transaction.atomic
def export_json(*, by: User, site: Site, what: str, value: Any, rows: int, **filters: Any) -> str:
    """A value as JSON text, with the export written to the site's chain."""
    text = as_json(value)
    audit.record(by=by, site=site, verb="exported", target=site, what=what, rows=rows, form="json", **filters)
    return text


@transaction.atomic
def export_bytes(*, by: User, site: Site, what: str, body: bytes, form: str, **filters: Any) -> bytes:
    """A file made elsewhere, with the export written to the site's chain."""
    audit.record(by=by, site=site, verb="exported", target=site, what=what, form=form, **filters)
    return body
