"""Shares of clinics and of prescribers against what chance alone allows. Never ranked: in the order of
their names.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Count

from clinic.audit.reads.cases import BASES, AuditFilter
from clinic.audit.reads.counted_site import site_counted
from clinic.audit.reads.figures import SMALL
from clinic.audit.reads.page import judged_by_site
from clinic.healing.funnel import Place, placed
from clinic.models import User

__all__ = ["ENOUGH", "Funnel", "FunnelRow", "prescriber_rows", "site_funnels"]

#: A prescriber's share is shown from so many judged decisions on (own design; fewer say nothing about a
#: person).
ENOUGH = 20


@dataclass(frozen=True)
class FunnelRow:
    """One clinic or prescriber. Under five cases nothing but that is told."""

    name: str
    key: int
    count: int
    of: int
    place: Place | None

    @property
    def share(self) -> str:
        if self.place is None:
            return f"under {SMALL} cases, not shown"
        return f"{self.count} of {self.of} ({100 * self.count / self.of:.0f}\u00a0%)"

    @property
    def words(self) -> str:
        if self.place is None:
            return ""
        if self.place.inside_95:
            return "within 95\u00a0%"
        side = "above" if self.place.above else "below"
        return f"{side} 95\u00a0%" if self.place.inside_998 else f"{side} 99.8\u00a0%"


@dataclass(frozen=True)
class Funnel:
    key: str
    words: str
    rows: tuple[FunnelRow, ...]
    share: float

    @property
    def points(self) -> list[tuple[str, int, int]]:
        """Name, count and cases of each row that is shown as a point."""
        return [(row.name, row.count, row.of) for row in self.rows if row.place is not None]

    @property
    def label(self) -> str:
        return (
            f"{self.words}: one point a clinic against the limits of chance. "
            "The table below holds the same numbers."
        )


def _rows(
    counts: Iterable[tuple[str, int, int, int]], least: int = SMALL
) -> tuple[tuple[FunnelRow, ...], float]:
    found = sorted(counts)
    whole = sum(of for *_, of in found)
    share = sum(count for _, _, count, _ in found) / whole if whole else 0.0
    shown = [row for row in found if row[3] >= least]
    places = dict(zip([row[1] for row in shown], placed([row[2:] for row in shown], share), strict=True))
    rows = tuple(FunnelRow(name, key, count, of, places.get(key)) for name, key, count, of in found)
    return rows, share


def site_funnels(wanted: AuditFilter, today: date) -> tuple[Funnel, ...]:
    """Agreement, and alive and ulcer-free at 12 weeks, by clinic; two queries."""
    names = {site.pk: site.name for site in wanted.sites}
    agreed = {key: (count, of) for key, count, of in judged_by_site(wanted)}
    free: dict[int, list[int]] = {}
    rows = (
        BASES["episode"]
        .rows(wanted, today)
        .order_by()
        .annotate(at_site=site_counted("person__site"))
        .values("at_site", "week12")
        .annotate(n=Count("pk"))
    )
    for row in rows:
        pair = free.setdefault(row["at_site"], [0, 0])
        pair[0] += row["n"] if row["week12"] == "free" else 0
        pair[1] += row["n"] if row["week12"] in ("free", "not_free", "died") else 0
    counted = (
        ("agreed", "Agreement with guidance", agreed),
        ("episode12.free", "Alive and ulcer-free at 12 weeks", {k: (a, b) for k, (a, b) in free.items()}),
    )
    return tuple(
        funnel
        for key, words, counts in counted
        if (funnel := _funnel(key, words, [(names[pk], pk, *counts.get(pk, (0, 0))) for pk in names]))
    )


def _funnel(key: str, words: str, counts: list[tuple[str, int, int, int]]) -> Funnel | None:
    funnel = Funnel(key, words, *_rows(counts))
    return funnel if funnel.points else None


def prescriber_rows(wanted: AuditFilter, only: User | None = None) -> tuple[FunnelRow, ...]:
    """Agreement by prescriber, from 20 judged decisions on: for the lead all, for a prescriber the own
    row.
    """
    judged = judged_by_site(wanted, "signed_by")
    names = {user.pk: str(user) for user in User.objects.filter(pk__in=[key for key, *_ in judged])}
    rows, _ = _rows([(names[key], key, count, of) for key, count, of in judged], ENOUGH)
    return tuple(row for row in rows if row.of >= ENOUGH and (only is None or row.key == only.pk))
