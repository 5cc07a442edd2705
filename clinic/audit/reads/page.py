"""The audit of device choice and of what came of it: all figures of the page, counted in the database."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from typing import Any

from django.core.cache import cache
from django.db.models import Count, Max

from clinic.audit.reads.cases import OUTCOMES, WEEK12, AuditFilter
from clinic.audit.reads.counted_site import site_counted
from clinic.audit.reads.figures import (
    ALL_BASES,
    BY_DAYS,
    EARLY,
    SMALL,
    WAITS,
    Figure,
    Tally,
    class_words,
    figures,
    spec_of,
)
from clinic.audit.reads.harm import device_days, uncovered
from clinic.audit.reads.report import AuditReport, HarmRow, OutcomeRow, ReasonRow, RecurrenceRow, ReusedRow
from clinic.evidence.reads.facts import WORDS
from clinic.guidelines.devices import DEVICES
from clinic.healing.incidence import Incidence, cumulative_incidence
from clinic.healing.observed import known_until
from clinic.healing.proportion import wilson
from clinic.models import Agreement, Attendance, DepartureReason, Prescription

__all__ = ["SMALL", "audit_report", "judged_by_site"]

NETWORK_SECONDS = 3600
RECURRENCE_WEEKS = (12, 26, 52)
JUDGED = tuple(part.value for part in Agreement if part is not Agreement.UNJUDGED)


def audit_report(wanted: AuditFilter, today: date) -> AuditReport:
    """All figures of the audit page; a fixed number of queries, whatever the number of cases or sites."""
    tallies = {
        name: Tally.read(name, wanted, today)
        for name in ALL_BASES
        if name not in ("unjudged", "departed", "gap")
    }

    gap = uncovered(wanted, today)
    tallies["gap"] = Tally(
        ({"bare": "bare", "n": gap.bare_ulcers}, {"bare": "", "n": gap.ulcers - gap.bare_ulcers})
    )

    def some(*keys: str, of: int | None = None) -> tuple[Figure, ...]:
        return figures(tallies, keys, of)

    def one(key: str, of: int | None = None) -> Figure:
        return some(key, of=of)[0]

    parts = some(*(f"part.{part.value}" for part in Agreement), of=one("all").count)
    judged = one("agreed").count + one("departed").count
    matured = one("episodes").count - one("episode12.not_due").count - one("episode12.unknown").count
    known = one("arrived").count - one("lesion12.not_due").count - one("lesion12.unknown").count
    due = {
        name: one(f"{name}.{a}").count + one(f"{name}.{b}").count
        for name, a, b in (("four_week", "recorded", "missing"), ("review", "in_time", "late"))
    }
    weeks = device_days(wanted, today) / 7.0
    free = one("episode12.free", matured)
    return AuditReport(
        tallies=tallies,
        parts=parts,
        agreed=one("agreed", judged),
        departed=one("departed", judged),
        unreasoned=one("departed.unreasoned", one("departed").count),
        unjudged=one("unjudged", one("all").count),
        overriding=(
            one("overriding", one("all").count),
            *some(
                "overriding.signed", "overriding.telephone", "overriding.missing", of=one("overriding").count
            ),
        ),
        agreement=wilson(one("agreed").count, judged) if judged else None,
        reasons=_reasons(wanted, tallies["prescription"]),
        reused=_reused(wanted, today),
        missing=_missing(wanted, today, one("unjudged").count),
        outcomes=_outcomes(tallies),
        outcome_totals=_outcome_row("every", "All", tallies),
        to_device=tuple(one(f"to_device.by_{d}", one(f"to_device.due_{d}").count) for d in BY_DAYS),
        waiting=one("to_device.waiting"),
        never=one("to_device.never"),
        median_words=_median_words(tallies["arrival"]),
        lesion12=tuple(
            one(f"lesion12.{key}", known if key not in ("unknown", "not_due") else None) for key in WEEK12
        ),
        episode12=(
            free,
            *some("episode12.not_free", "episode12.died", of=matured),
            *some("episode12.unknown", "episode12.not_due"),
        ),
        alive_free=wilson(free.count, matured) if matured >= SMALL else None,
        assessed=some(*(f"assessed.{key}" for key, *_ in WAITS), of=one("episodes").count),
        four_week=(
            *some("four_week.recorded", "four_week.missing", of=due["four_week"]),
            one("four_week.not_due"),
        ),
        review=(
            *some("review.in_time", "review.late", of=due["review"]),
            *some("review.not_due", "review.not_fitted"),
        ),
        visits=some(*(f"visits.{kind.value}" for kind in Attendance), of=one("visits.all").count),
        harm=tuple(
            HarmRow(one(key), weeks)
            for key in (
                "harm.early",
                *(f"harm.{why.value}" for why in EARLY),
                "harm.skin",
                "harm.other_foot",
                "harm.fall",
                "harm.late",
            )
        ),
        device_weeks=weeks,
        uncovered=(gap.bare_days, gap.days),
        gap=one("gap.bare", one("gap.all").count),
        healed=one("healed"),
        after=some("after.recurred", "after.died", "after.free"),
        recurrence=_recurrence(tallies["healed"]),
    )


def _shares(rows: Any) -> dict[str, float]:
    """Share of each reason among departures [%]; empty where there are too few."""
    counts = {row["departure_reason"]: row["n"] for row in rows}
    whole = sum(counts.values())
    return {key: 100.0 * n / whole for key, n in counts.items()} if whole >= SMALL else {}


def _network(wanted: AuditFilter) -> dict[str, float]:
    """Shares of the reasons over every site of this installation; the same for all, so kept for an hour."""
    key = f"audit-reasons-{wanted.since}-{wanted.until}"
    found: dict[str, float] | None = cache.get(key)
    if found is None:
        rows = Prescription.objects.filter(
            agreement=Agreement.DEPARTED,
            prescribed_on__gte=wanted.since,
            prescribed_on__lte=wanted.until,
            limb__person__restricted_on=None,
        )
        found = _shares(rows.order_by().values("departure_reason").annotate(n=Count("pk")))
        cache.set(key, found, NETWORK_SECONDS)
    return found


def _reasons(wanted: AuditFilter, tally: Tally) -> tuple[ReasonRow, ...]:
    network = _network(wanted)
    departed: Counter[str] = Counter()
    offered: Counter[str] = Counter()
    own: dict[str, dict[int, list[str]]] = {}
    for row in tally.rows:
        if row["agreement"] == Agreement.DEPARTED:
            departed[row["departure_reason"]] += row["n"]
            offered[row["departure_reason"]] += row["n"] * bool(row["offered"])
            if row["departure_own"]:
                definition = own.setdefault(row["departure_reason"], {}).setdefault(row["departure_own"], [])
                definition.append(row["departure_words"])
    here = _shares([{"departure_reason": key, "n": n} for key, n in departed.items()])
    rows = []
    for reason in tally.values("departure_reason"):
        if not reason:
            continue
        one, rest = figures({"prescription": tally}, (f"reason.{reason}", f"reason_unjudged.{reason}"))
        words = str(DepartureReason(reason).label)
        mine = tuple(
            (" / ".join(dict.fromkeys(labels)), figures({"prescription": tally}, (f"reason_own.{row}",))[0])
            for row, labels in sorted(own.get(reason, {}).items())
        )
        rows.append(ReasonRow(words, one, rest, offered[reason], here.get(reason), network.get(reason), mine))
    return tuple(rows)


def _reused(wanted: AuditFilter, today: date) -> tuple[ReusedRow, ...]:
    """Sentences of departures that stand on more than one person, the most used first."""
    by_mark = ALL_BASES["departed"].rows(wanted, today).order_by().values("mark")
    rows = (
        by_mark.annotate(n=Count("pk"), people=Count("limb__person", distinct=True), sentence=Max("reason"))
        .filter(people__gt=1)
        .order_by("-n", "mark")[:10]
    )
    return tuple(
        ReusedRow(
            row["sentence"],
            Figure(f"reused.{row['mark']}", "The same sentence, word for word", row["n"]),
            row["people"],
        )
        for row in rows
    )


def _missing(wanted: AuditFilter, today: date, unjudged: int) -> tuple[Figure, ...]:
    counts: Counter[str] = Counter()
    for row in Tally.read("unjudged", wanted, today).rows:
        for name in json.loads(row["missing"] or "[]"):
            counts[name] += row["n"]
    return tuple(
        Figure(f"missing.{name}", WORDS.get(name, name.replace("_", " ")), n, unjudged)
        for name, n in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    )


def _outcome_row(name: str, words: str, tallies: dict[str, Tally]) -> OutcomeRow:
    whole = figures(tallies, (f"outcome.{name}.all",))[0]
    cells = figures(tallies, (f"outcome.{name}.{outcome}" for outcome in OUTCOMES), whole.count)
    return OutcomeRow(words, cells, whole)


def _outcomes(tallies: dict[str, Tally]) -> tuple[OutcomeRow, ...]:
    found = set(tallies["lesion"].values("first_class"))
    return tuple(
        _outcome_row(key or "none", class_words(key), tallies) for key in (*DEVICES, "") if key in found
    )


def _median_words(tally: Tally) -> str:
    """Median over the fitted and the waiting; those who wait stand beyond every day counted."""
    days: list[tuple[float, int]] = sorted(
        (float("inf") if row["days"] is None else float(row["days"]), row["n"])
        for row in tally.rows
        if row["way"] != "ended"
    )
    whole = sum(n for _, n in days)
    if not whole:
        return "no ulcer yet"
    if whole < SMALL:
        return f"too few for a median (n < {SMALL})"

    def at(place: int) -> float:
        seen = 0
        for value, n in days:
            seen += n
            if place < seen:
                return value
        return float("inf")

    middle = (at((whole - 1) // 2) + at(whole // 2)) / 2
    if middle == float("inf"):
        return "half or more still wait"
    return f"{middle:g} day{'' if middle == 1 else 's'}"


def _recurrence(tally: Tally) -> tuple[RecurrenceRow, ...]:
    """Cumulative incidence of a new ulcer from confirmed closure; death competes, the rest are seen to
    their last look.
    """
    durations: list[float] = []
    endings: list[str | None] = []
    for row in tally.rows:
        durations += [float(row["days"])] * row["n"]
        endings += [None if row["after"] == "free" else row["after"]] * row["n"]
    if len(durations) < SMALL:
        return ()
    until = known_until(durations, [ending is not None for ending in endings])
    again: Incidence = cumulative_incidence(durations, endings, ("recurred", "died"))[0]
    rows = []
    for weeks in RECURRENCE_WEEKS:
        day = 7.0 * weeks
        at_risk = sum(1 for d in durations if d >= day)
        last = next((p for p in reversed(again.curve) if p.time <= day), None)
        known = until is not None and day <= until
        rows.append(
            RecurrenceRow(
                weeks,
                100.0 * again.at(day) if known else None,
                100.0 * last.low if known and last and last.low is not None else None,
                100.0 * last.high if known and last and last.high is not None else None,
                at_risk,
            )
        )
    return tuple(rows)


def judged_by_site(wanted: AuditFilter, by: str = "at_site") -> list[tuple[Any, int, int]]:
    """Agreed and judged prescriptions of each site, or each prescriber with `by="signed_by"`."""
    spec = spec_of("agreed")
    if spec is None:
        raise KeyError("agreed")
    cases = ALL_BASES["prescription"].rows(wanted, wanted.until).filter(agreement__in=JUDGED)
    if by == "at_site":
        cases = cases.annotate(at_site=site_counted("limb__person__site"))
    rows = cases.order_by().values(by, "agreement").annotate(n=Count("pk"))
    found: dict[Any, list[int]] = {}
    for row in rows:
        pair = found.setdefault(row[by], [0, 0])
        pair[0] += row["n"] if spec.holds(row) else 0
        pair[1] += row["n"]
    return [(key, agreed, judged) for key, (agreed, judged) in found.items()]
