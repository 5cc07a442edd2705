"""The audit page as one value: its rows, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from clinic.audit.reads.figures import SMALL, Figure, Tally, figures
from clinic.healing.proportion import Proportion

__all__ = ["AuditReport", "HarmRow", "OutcomeRow", "ReasonRow", "RecurrenceRow", "ReusedRow"]


@dataclass(frozen=True)
class ReasonRow:
    """One coded reason for leaving the first class offered."""

    words: str
    departed: Figure
    unjudged: Figure
    offered: int
    here: float | None
    network: float | None
    #: The clinic's own reasons that count as this one, in the words they were given in.
    own: tuple[tuple[str, Figure], ...] = ()


@dataclass(frozen=True)
class ReusedRow:
    """A sentence that stands word for word on more than one person."""

    sentence: str
    figure: Figure
    people: int


@dataclass(frozen=True)
class OutcomeRow:
    """Lesions whose first device was of one class, by how they stand today."""

    words: str
    cells: tuple[Figure, ...]
    all: Figure


@dataclass(frozen=True)
class HarmRow:
    """Something that went wrong, over the weeks devices were on."""

    figure: Figure
    weeks: float

    @property
    def rate(self) -> float | None:
        """Per 100 device-weeks; None where there are too few weeks to say."""
        return 100.0 * self.figure.count / self.weeks if self.weeks >= SMALL else None


@dataclass(frozen=True)
class RecurrenceRow:
    weeks: int
    share: float | None
    low: float | None
    high: float | None
    at_risk: int


@dataclass(frozen=True)
class AuditReport:
    tallies: dict[str, Tally]
    parts: tuple[Figure, ...]
    agreed: Figure
    departed: Figure
    unreasoned: Figure
    unjudged: Figure
    #: A device that stays on, signed against a known danger; then by how its second signature stands.
    overriding: tuple[Figure, ...]
    agreement: Proportion | None
    reasons: tuple[ReasonRow, ...]
    reused: tuple[ReusedRow, ...]
    missing: tuple[Figure, ...]
    outcomes: tuple[OutcomeRow, ...]
    outcome_totals: OutcomeRow
    to_device: tuple[Figure, ...]
    waiting: Figure
    never: Figure
    median_words: str
    lesion12: tuple[Figure, ...]
    episode12: tuple[Figure, ...]
    alive_free: Proportion | None
    assessed: tuple[Figure, ...]
    four_week: tuple[Figure, ...]
    review: tuple[Figure, ...]
    visits: tuple[Figure, ...]
    harm: tuple[HarmRow, ...]
    device_weeks: float
    uncovered: tuple[int, int]
    gap: Figure
    healed: Figure
    after: tuple[Figure, ...]
    recurrence: tuple[RecurrenceRow, ...]

    def figure(self, key: str) -> Figure:
        return figures(self.tallies, (key,))[0]

    @property
    def prescriptions(self) -> Figure:
        return self.figure("all")

    @property
    def empty(self) -> bool:
        return not any(row["n"] for tally in self.tallies.values() for row in tally.rows)

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """Every figure of the page by its key."""
        rows = [
            *self.parts,
            self.agreed,
            self.departed,
            self.unreasoned,
            self.unjudged,
            *self.overriding,
            *self.missing,
            *self.to_device,
            self.waiting,
            self.never,
            *self.lesion12,
            *self.episode12,
            *self.assessed,
            *self.four_week,
            *self.review,
            *self.visits,
            self.gap,
            self.healed,
            *self.after,
        ]
        rows += [self.figure(key) for key in ("all", "lesions", "arrived", "episodes", "devices", "gap.all")]
        rows += [row.figure for row in self.reused] + [row.figure for row in self.harm]
        for reason in self.reasons:
            rows += [reason.departed, reason.unjudged, *(figure for _, figure in reason.own)]
        for outcome in (*self.outcomes, self.outcome_totals):
            rows += [*outcome.cells, outcome.all]
        return {figure.key: figure for figure in rows}

    @property
    def agreement_small(self) -> bool:
        return self.agreement is not None and self.agreement.of < SMALL

    @property
    def agreement_percent(self) -> dict[str, int] | None:
        """Share and the ends of its interval in whole per cent; None where there are too few cases."""
        if self.agreement is None or self.agreement_small:
            return None
        p = self.agreement
        low, high = round(100 * p.low), round(100 * p.high)
        return {"share": round(100 * p.share), "low": low, "high": high, "width": high - low}

    @property
    def devices(self) -> Figure:
        return self.figure("devices")

    @property
    def alive_free_low(self) -> int | None:
        return round(100 * self.alive_free.low) if self.alive_free else None

    @property
    def alive_free_high(self) -> int | None:
        return round(100 * self.alive_free.high) if self.alive_free else None

    @property
    def bar(self) -> tuple[dict[str, Any], ...]:
        """The five parts as widths of one bar of 100."""
        whole = sum(part.count for part in self.parts)
        left, drawn = 0.0, []
        for part in self.parts:
            width = 100.0 * part.count / whole if whole else 0.0
            drawn.append(
                {
                    "figure": part,
                    "x": f"{left:.2f}",
                    "width": f"{width:.2f}",
                    "wide": width >= 8,
                    "middle": f"{left + width / 2:.2f}",
                }
            )
            left += width
        return tuple(drawn)

    @property
    def uncovered_share(self) -> str:
        bare, of = self.uncovered
        return f"{bare:,} of {of:,} days ({100 * bare / of:.0f}\u00a0%)" if of else "no day yet"
