"""Which coded reasons can be given at a site: the program's, reworded or retired here, and the clinic's
own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count

from clinic.models import PROGRAM, Prescription, ReasonKind, Site, SiteReason

__all__ = [
    "ReasonChoice",
    "ReasonAmendment",
    "amendments_of",
    "choices_of",
    "reason_listed",
    "reason_of",
    "reasons_of",
    "uses_of",
]


@dataclass(frozen=True)
class ReasonChoice:
    """One reason as a form offers it. `key` is the program's code, or `own-` and the number of the
    clinic's row.
    """

    key: str
    words: str
    counts_as: str
    row: SiteReason | None = None

    @property
    def retired(self) -> bool:
        return self.row is not None and self.row.retired_at is not None

    @property
    def own(self) -> bool:
        return self.row is not None and not self.row.replaces

    @property
    def counts_as_words(self) -> str:
        kind = self.row.kind if self.row else ""
        return str(PROGRAM[kind](self.counts_as).label) if kind else self.words


@dataclass(frozen=True)
class ReasonAmendment:
    """One change of the list: who, when, and the reason before and after."""

    at: datetime
    who: str
    kind: str
    old: str
    new: str


def reasons_of(site: Site) -> dict[str, tuple[ReasonChoice, ...]]:
    """Reasons of a site by kind, the retired ones too; one query."""
    rows = list(SiteReason.objects.filter(site=site).order_by("pk"))
    found: dict[str, tuple[ReasonChoice, ...]] = {}
    for kind in ReasonKind:
        replaced = {row.counts_as: row for row in rows if row.kind == kind and row.replaces}
        program = tuple(
            ReasonChoice(
                code, replaced[code].words if code in replaced else str(label), code, replaced.get(code)
            )
            for code, label in PROGRAM[kind].choices
        )
        own = tuple(
            ReasonChoice(f"own-{row.pk}", row.words, row.counts_as, row)
            for row in rows
            if row.kind == kind and not row.replaces
        )
        # "Other" stays last, where a reader looks for it.
        found[kind.value] = (*program[:-1], *own, program[-1])
    return found


def reason_listed(site: Site, kind: str, key: str) -> ReasonChoice | None:
    """A reason of a site, the retired ones too; None where there is none of that kind and key."""
    return next((one for one in reasons_of(site).get(kind, ()) if one.key == key), None)


def reason_of(site: Site, kind: str, key: str) -> ReasonChoice | None:
    """A reason that can be given now; None where there is none of that key, or it is retired."""
    found = reason_listed(site, kind, key)
    return None if found is None or found.retired else found


def choices_of(reasons: Iterable[ReasonChoice]) -> list[tuple[str, str]]:
    """Those a form offers."""
    return [(reason.key, reason.words) for reason in reasons if not reason.retired]


def uses_of(site: Site) -> dict[int, int]:
    """Number of a clinic's row -> devices that name it; two queries."""
    found: dict[int, int] = {}
    for field in ("departure_own", "stop_own"):
        rows = Prescription.objects.filter(**{f"{field}__site": site}).order_by().values(field)
        found |= {row[field]: row["n"] for row in rows.annotate(n=Count("pk"))}
    return found


def amendments_of(site: Site) -> list[ReasonAmendment]:
    """What was changed about a site's reasons, newest first; one query."""
    found = []
    before: dict[int, str] = {}
    copies = SiteReason.history.filter(site_id=site.pk)  # type: ignore[attr-defined]
    for copy in copies.select_related("history_user").order_by("history_id"):
        old = before.get(copy.id)
        if old is None:
            old = str(PROGRAM[copy.kind](copy.counts_as).label) if copy.replaces else "nothing"
        new = f"{copy.words}{' (out of use)' if copy.retired_at else ''}"
        before[copy.id] = new
        kind = str(ReasonKind(copy.kind).label)
        found.append(
            ReasonAmendment(copy.history_date, str(copy.history_user or "the program"), kind, old, new)
        )
    return found[::-1]
