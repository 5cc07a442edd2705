"""The last entry about a row, and how the row stood before it: what taking the entry back restores."""

from __future__ import annotations

from typing import Any

from clinic.models import ClinicalRecord
from clinic.record.errors import Refused

__all__ = ["TAKEN_BACK", "before_last_step", "last_step_stands"]

#: How the history names a step that was taken back.
TAKEN_BACK = "taken back: "


def before_last_step(row: ClinicalRecord) -> Any:
    """The copy before the newest one (one query); refused where nothing was entered since the row was made,
    or where the last entry was taken back already: a second press takes nothing further back.
    """
    noun = row._meta.verbose_name
    copies = list(row.history.order_by("-history_id")[:2])  # type: ignore[attr-defined]
    if len(copies) < 2:
        raise Refused(f"Nothing was entered since this {noun} was made; there is nothing to take back.")
    if (copies[0].history_change_reason or "").startswith(TAKEN_BACK):
        raise Refused(f"The last entry was taken back already; correct the {noun} itself.")
    return copies[1]


def last_step_stands(row: ClinicalRecord) -> bool:
    """Whether the last entry can be taken back."""
    try:
        before_last_step(row)
    except Refused:
        return False
    return True
