"""The cases behind a figure, a page at a time: newest first, each page found by where the one before
ended.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q

from clinic.audit.reads.cases import OUTCOMES, WEEK12, AuditFilter
from clinic.audit.reads.figures import ALL_BASES, Spec
from clinic.models import Agreement, Episode, Lesion, Person, Prescription, Visit

__all__ = ["A_PAGE", "CasePage", "CaseRow", "all_rows", "case_page"]

A_PAGE = 50
CHUNK = 500
HEAVY = ("facts", "advice", "forecast_shown", "content")
_AGREEMENT = {
    Agreement.FIRST: "agreed",
    Agreement.LOWER_DATED: "agreed, second choice, documented reason",
    Agreement.LOWER_TICKED: "agreed, second choice, undated reason",
    Agreement.DEPARTED: "departed",
    Agreement.UNJUDGED: "cannot be judged",
}
_EPISODE12 = {**WEEK12, "free": "Alive and ulcer-free", "not_free": "Alive, not ulcer-free"}
_AFTER = {"recurred": "A new ulcer", "died": "Died", "free": "None so far"}


@dataclass(frozen=True)
class CaseRow:
    """One line behind a figure; what it is about decides which of its parts are there."""

    day: date
    pk: int
    person: Person
    prescription: Prescription | None = None
    lesion: Lesion | None = None
    visit: Visit | None = None
    episode: Episode | None = None
    outcome_words: str = ""
    days: int | None = None

    @property
    def agreement(self) -> str:
        p = self.prescription
        return _AGREEMENT[Agreement(p.agreement)] if p else ""

    @property
    def kind(self) -> str:
        for name in ("visit", "episode", "lesion"):
            if getattr(self, name) is not None:
                return name
        return "prescription"


@dataclass(frozen=True)
class CasePage:
    rows: tuple[CaseRow, ...]
    kind: str
    next_before: str


def _ordered(spec: Spec, wanted: AuditFilter, today: date) -> Any:
    base = ALL_BASES[spec.base]
    rows = spec.rows(wanted, today).select_related(*base.related).order_by(f"-{base.day}", "-pk")
    return rows.defer(*HEAVY) if base.kind == "prescription" else rows


def case_page(spec: Spec, wanted: AuditFilter, today: date, before: str = "") -> CasePage:
    """A page of cases after the place `before` (`2026-05-01.123`); two or three queries."""
    day = ALL_BASES[spec.base].day
    rows = _ordered(spec, wanted, today)
    if before:
        text, _, key = before.partition(".")
        rows = rows.filter(Q(**{f"{day}__lt": text}) | Q(**{day: text, "pk__lt": int(key)}))
    found = list(rows[: A_PAGE + 1])
    shown = _told(spec, found[:A_PAGE])
    more = f"{shown[-1].day.isoformat()}.{shown[-1].pk}" if len(found) > A_PAGE else ""
    return CasePage(tuple(shown), ALL_BASES[spec.base].kind, more)


def all_rows(spec: Spec, wanted: AuditFilter, today: date) -> Iterator[CaseRow]:
    """Every case of a figure, some hundred in memory at once."""
    chunk: list[Any] = []
    for row in _ordered(spec, wanted, today).iterator(chunk_size=CHUNK):
        chunk.append(row)
        if len(chunk) == CHUNK:
            yield from _told(spec, chunk)
            chunk = []
    yield from _told(spec, chunk)


def _told(spec: Spec, found: list[Any]) -> list[CaseRow]:
    base = ALL_BASES[spec.base]
    if base.kind == "prescription":
        return [CaseRow(row.prescribed_on, row.pk, row.limb.person, prescription=row) for row in found]
    if base.kind == "visit":
        return [
            CaseRow(row.visited_on, row.pk, row.person, visit=row, outcome_words=_visit_words(row))
            for row in found
        ]
    if base.kind == "episode":
        return [
            CaseRow(
                row.first_assessed_on,
                row.pk,
                row.person,
                episode=row,
                outcome_words=_EPISODE12[row.week12],
                days=row.wait,
            )
            for row in found
        ]
    keys: set[int] = {row.first_pk for row in found if getattr(row, "first_pk", None) is not None}
    devices = (
        Prescription.objects.filter(pk__in=keys).select_related("signed_by", "limb").defer(*HEAVY).in_bulk()
        if keys
        else {}
    )
    return [
        CaseRow(
            getattr(row, base.day),
            row.pk,
            row.limb.person,
            prescription=devices.get(getattr(row, "first_pk", None)),
            lesion=row,
            outcome_words=_lesion_words(spec.base, row),
            days=getattr(row, "days", None),
        )
        for row in found
    ]


def _lesion_words(base: str, row: Any) -> str:
    if base == "healed":
        return _AFTER[row.after]
    if base == "gap":
        return f"{row.eligible - row.covered} of {row.eligible} days without a device"
    return OUTCOMES[row.now]


def _visit_words(row: Visit) -> str:
    outcome_words = [str(row.get_attendance_display())]
    if row.fall:
        outcome_words.append("fall")
    if row.other_foot == "problem":
        outcome_words.append("other foot")
    if row.skin_under_device == "problem":
        outcome_words.append("skin under device")
    return ", ".join(outcome_words)
