"""A list leaves the clinic as CSV; that it did is itself a row of the audit chain."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction

from clinic.models import Site, User

from . import audit

__all__ = ["export_csv", "formula_safe"]

# A spreadsheet runs a cell that starts with one of these as a formula (OWASP, CSV injection).
_STARTS = ("=", "+", "-", "@", "\t", "\r")


def formula_safe(cell: Any) -> Any:
    """Text that a spreadsheet would run is kept as text; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_STARTS) else cell


@transaction.atomic
def export_csv(
    *, by: User, site: Site, what: str, head: Sequence[str], rows: Iterable[Sequence[Any]], **filters: Any
) -> str:
    """The rows as CSV text, with the export written to the site's chain."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    count = 0
    for row in rows:
        writer.writerow(["" if cell is None else formula_safe(cell) for cell in row])
        count += 1
    audit.record(by=by, site=site, verb="exported", target=site, what=what, rows=count, **filters)
    return out.getvalue()
