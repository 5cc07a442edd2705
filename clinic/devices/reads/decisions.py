"""Signed decisions read back from their own copies, with the hashes that show nothing was rewritten."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from clinic.models import AuditEvent, DecisionLine, Fitting, Limb, Prescription, content_digest

__all__ = ["DecisionRow", "SignedRecord", "decisions_of", "fittings_of", "signed_record"]


@dataclass(frozen=True)
class SignedRecord:
    """A signed prescription from its copies only; `holds` is None where nothing was kept to compare with."""

    content: dict[str, Any]
    sha256: str
    holds: bool | None
    in_chain: bool
    signed_at: datetime | None
    prescribed_on: date | None

    @property
    def first_labels(self) -> list[str]:
        return [row["label"] for row in self.content.get("offers", ()) if row["first"]]


@dataclass(frozen=True)
class DecisionRow:
    line: DecisionLine
    holds: bool


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _with_days(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows of a copy with their days as dates again, for the page."""
    return [{**row, "day": _day(row.get("found_on"))} for row in rows]


def _chained(prescription: Prescription) -> bool:
    """Whether the site's audit chain holds the same hash, written in the transaction of the signature."""
    event = AuditEvent.objects.filter(
        verb="prescribed", target_kind="prescription", target_id=str(prescription.pk)
    ).first()
    return event is not None and json.loads(event.detail).get("content") == prescription.content_sha256


def signed_record(prescription: Prescription) -> SignedRecord:
    """The record of one decision; one query, for the chain."""
    content = prescription.content
    if not content:
        return SignedRecord({}, "", None, False, None, None)
    shown = {
        "against": [],
        **content,
        "lesions": [
            {**one, "rows": _with_days(one["rows"]), "grades": _with_days(one["grades"])}
            for one in content["lesions"]
        ],
        "born": _day(content["person"]["birth_date"]),
        "stopped_since": _day(content["stops"]["since"]) if content["stops"] else None,
    }
    return SignedRecord(
        content=shown,
        sha256=prescription.content_sha256,
        holds=content_digest(content) == prescription.content_sha256,
        in_chain=_chained(prescription),
        signed_at=datetime.fromisoformat(content["signed_at"]),
        prescribed_on=_day(content["prescribed_on"]),
    )


def decisions_of(limb: Limb) -> list[DecisionRow]:
    """Every decision on a limb's devices, oldest first; one query."""
    lines = DecisionLine.objects.filter(limb=limb).select_related("prescription")
    return [
        DecisionRow(
            line,
            line.computed_digest() == line.digest
            and line.content_sha256 == line.prescription.content_sha256
            and (
                not line.prescription.content
                or content_digest(line.prescription.content) == line.content_sha256
            ),
        )
        for line in lines
    ]


def fittings_of(prescription: Prescription) -> list[Fitting]:
    """The fittings of a device, newest first; one query."""
    return list(prescription.fittings.standing().select_related("created_by"))
