"""The audit of device choice: every figure carries the cases it counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from statistics import median

from clinic.healing.proportion import Proportion, wilson
from clinic.models import DepartureReason, DeviceClass

from .audit_cases import OUTCOMES, AuditFilter, Case, LesionCase, PrescriptionCase, class_words, read
from .facts import WORDS

__all__ = ["FAMILIES", "SMALL", "AuditReport", "Figure", "OutcomeRow", "ReasonRow", "audit_report"]

#: Fewer cases than this make no percentage (common practice of published audits, no source for the number).
SMALL = 5
#: First parts of the keys of figures; the second part names a reason, a class, a fact.
FAMILIES = frozenset(
    {"all", "agreed", "departed", "unjudged", "lesions", "reason", "reason_unjudged", "outcome", "missing",
     "to_device", "four_week", "review"}
)  # fmt: skip
BANDS: tuple[tuple[str, str, int, int], ...] = (
    ("by_2", "By day 2", 0, 2),
    ("by_7", "Day 3 to 7", 3, 7),
    ("by_14", "Day 8 to 14", 8, 14),
    ("later", "After day 14", 15, 10**6),
)


@dataclass(frozen=True)
class Figure:
    """A count that can be opened: its key in the address, its words, its cases, and of how many."""

    key: str
    words: str
    cases: tuple[Case, ...]
    of: int | None = None

    @property
    def count(self) -> int:
        return len(self.cases)

    @property
    def per_lesion(self) -> bool:
        """Whether its cases are lesions, which have an outcome, rather than prescriptions."""
        return any(case.lesion is not None for case in self.cases)

    @property
    def share(self) -> str:
        """The count among its cases, with a percentage only where there are enough of them."""
        if self.of is None:
            return str(self.count)
        if self.of == 0:
            return "no case yet"
        if self.of < SMALL:
            return f"{self.count} of {self.of}, too few for a percentage (n < {SMALL})"
        return f"{self.count} of {self.of} ({100 * self.count / self.of:.0f}\u00a0%)"


@dataclass(frozen=True)
class ReasonRow:
    """One coded reason for leaving the first class offered, with the sentences as they were written."""

    words: str
    departed: Figure
    unjudged: Figure

    @property
    def sentences(self) -> tuple[Case, ...]:
        return self.departed.cases + self.unjudged.cases


@dataclass(frozen=True)
class OutcomeRow:
    """Lesions whose first device was of one class, by what came of them."""

    words: str
    cells: tuple[Figure, ...]
    all: Figure


@dataclass(frozen=True)
class AuditReport:
    prescriptions: Figure
    agreed: Figure
    departed: Figure
    unjudged: Figure
    agreement: Proportion | None
    reasons: tuple[ReasonRow, ...]
    missing: tuple[Figure, ...]
    lesions: Figure
    outcomes: tuple[OutcomeRow, ...]
    outcome_totals: OutcomeRow
    to_device: tuple[Figure, ...]
    median_words: str
    four_week: tuple[Figure, ...]
    review: tuple[Figure, ...]

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """Every figure of the page by its key."""
        rows: list[Figure] = [self.prescriptions, self.agreed, self.departed, self.unjudged, self.lesions]
        for reason in self.reasons:
            rows += [reason.departed, reason.unjudged]
        for outcome in (*self.outcomes, self.outcome_totals):
            rows += [*outcome.cells, outcome.all]
        rows += [*self.missing, *self.to_device, *self.four_week, *self.review]
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


def audit_report(asked: AuditFilter, today: date) -> AuditReport:
    """All figures of the audit page; five queries whatever the number of cases."""
    found = read(asked, today)
    ps, ls = found.prescriptions, found.lesions
    agreed = [p for p in ps if p.prescription.agrees is True]
    departed = [p for p in ps if p.prescription.agrees is False]
    unjudged = [p for p in ps if p.prescription.agrees is None]
    judged = len(agreed) + len(departed)
    outcomes = _outcomes(ls)
    return AuditReport(
        prescriptions=_figure("all", "Prescriptions", ps),
        agreed=_figure("agreed", "Agreed with the guidance", agreed, judged),
        departed=_figure("departed", "Departed, with a reason", departed, judged),
        unjudged=_figure("unjudged", "Cannot be judged: facts were missing", unjudged, len(ps)),
        agreement=wilson(len(agreed), judged) if judged else None,
        reasons=_reasons(ps),
        missing=_missing(unjudged),
        lesions=_figure("lesions", "Lesions prescribed for", ls),
        outcomes=outcomes,
        outcome_totals=_outcome_row("every", "All", ls),
        to_device=_to_device(ls),
        median_words=_median_words(ls),
        four_week=_four_week(ls),
        review=_review(ps),
    )


def _figure(
    key: str, words: str, rows: Iterable[PrescriptionCase | LesionCase], of: int | None = None
) -> Figure:
    return Figure(key, words, tuple(row.case for row in rows), of)


def _reasons(ps: Iterable[PrescriptionCase]) -> tuple[ReasonRow, ...]:
    found: dict[str, list[PrescriptionCase]] = defaultdict(list)
    for p in ps:
        if p.prescription.departure_reason:
            found[p.prescription.departure_reason].append(p)
    rows = []
    for reason in sorted(found, key=lambda reason: (-len(found[reason]), reason)):
        words = str(DepartureReason(reason).label)
        judged = [p for p in found[reason] if p.prescription.agrees is False]
        rest = [p for p in found[reason] if p.prescription.agrees is not False]
        rows.append(
            ReasonRow(
                words,
                _figure(f"reason.{reason}", f"Departed: {words}", judged),
                _figure(f"reason_unjudged.{reason}", f"Not judged, reason given: {words}", rest),
            )
        )
    return tuple(rows)


def _missing(unjudged: list[PrescriptionCase]) -> tuple[Figure, ...]:
    found: dict[str, list[PrescriptionCase]] = defaultdict(list)
    for p in unjudged:
        for name in p.missing:
            found[name].append(p)
    return tuple(
        _figure(f"missing.{name}", WORDS.get(name, name.replace("_", " ")), found[name], len(unjudged))
        for name in sorted(found, key=lambda name: (-len(found[name]), name))
    )


def _outcome_row(key: str, words: str, ls: Iterable[LesionCase]) -> OutcomeRow:
    rows = list(ls)
    device = "any first device" if key == "every" else f"first device: {words[0].lower()}{words[1:]}"
    return OutcomeRow(
        words,
        tuple(
            _figure(
                f"outcome.{key}.{outcome}",
                f"{label}, {device}",
                [row for row in rows if row.outcome == outcome],
                len(rows),
            )
            for outcome, label in OUTCOMES.items()
        ),
        _figure(f"outcome.{key}.all", f"Lesions, {device}", rows),
    )


def _outcomes(ls: Iterable[LesionCase]) -> tuple[OutcomeRow, ...]:
    found: dict[str, list[LesionCase]] = defaultdict(list)
    for row in ls:
        found[row.first_class].append(row)
    return tuple(
        _outcome_row(key or "none", class_words(key), found[key])
        for key in (*(c.value for c in DeviceClass), "")
        if key in found
    )


def _waits(row: LesionCase) -> bool:
    return not row.fitted and row.outcome in ("open", "to_confirm")


def _to_device(ls: tuple[LesionCase, ...]) -> tuple[Figure, ...]:
    eligible = sum(1 for row in ls if row.fitted or _waits(row))
    bands = [
        _figure(
            f"to_device.{key}",
            words,
            [row for row in ls if row.days is not None and low <= row.days <= high],
            eligible,
        )
        for key, words, low, high in BANDS
    ]
    waiting = _figure("to_device.waiting", "Still waiting", [row for row in ls if _waits(row)], eligible)
    never = [row for row in ls if not row.fitted and not _waits(row)]
    return (*bands, waiting, _figure("to_device.never", "Ended without a device", never))


def _median_words(ls: Iterable[LesionCase]) -> str:
    """Median over the fitted and the waiting; those who wait stand beyond every day counted."""
    days = [float("inf") if row.days is None else float(row.days) for row in ls if row.fitted or _waits(row)]
    if not days:
        return "no lesion yet"
    if len(days) < SMALL:
        return f"too few for a median (n < {SMALL})"
    middle = median(days)
    if middle == float("inf"):
        return "half or more still wait"
    return f"{middle:g} day{'' if middle == 1 else 's'}"


def _four_week(ls: tuple[LesionCase, ...]) -> tuple[Figure, ...]:
    parts = {key: [row for row in ls if row.four_week == key] for key in ("recorded", "missing", "not_due")}
    due = len(parts["recorded"]) + len(parts["missing"])
    return (
        _figure("four_week.recorded", "Area at 4 weeks recorded", parts["recorded"], due),
        _figure("four_week.missing", "No area at 4 weeks", parts["missing"], due),
        _figure("four_week.not_due", "Not due", parts["not_due"]),
    )


def _review(ps: tuple[PrescriptionCase, ...]) -> tuple[Figure, ...]:
    parts = {key: [p for p in ps if p.review == key] for key in ("in_time", "late", "not_due", "not_fitted")}
    due = len(parts["in_time"]) + len(parts["late"])
    return (
        _figure("review.in_time", "Seen within 7 days of fitting", parts["in_time"], due),
        _figure("review.late", "Not seen within 7 days", parts["late"], due),
        _figure("review.not_due", "Not due yet", parts["not_due"]),
        _figure("review.not_fitted", "Not fitted", parts["not_fitted"]),
    )
