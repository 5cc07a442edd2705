"""The audit as plain values for files: rows of cases, and the figures of the page with what they count."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.definitions import DEFINITIONS
from clinic.audit.reads.figures import SMALL, Figure, Spec
from clinic.audit.reads.lists import CaseRow, all_rows
from clinic.audit.reads.page import audit_report
from clinic.healing.proportion import wilson
from clinic.models import Transfer, TransferState

__all__ = ["HEAD", "NOTICE", "numbered_rows", "report_value"]

NOTICE = "Supports licensed judgement; not a diagnosis. Follow your local protocol."
HEAD = (
    "record_number",
    "day",
    "foot",
    "lesion",
    "place",
    "device_class",
    "prescribed_on",
    "fitted_on",
    "stopped_on",
    "first_offered",
    "agreement",
    "departure_reason",
    "outcome",
    "days",
    "edition",
    "notice",
)


def numbered_rows(spec: Spec, wanted: AuditFilter, today: date) -> Iterable[tuple[int, dict[str, Any]]]:
    """One value a case, without names or free text, with the number of its person for the log of reads."""
    sites = set(wanted.site_ids)
    # A person handed over has another clinic's record number now: this clinic's export holds its own.
    left = Transfer.objects.filter(from_site__in=sites, state=TransferState.ACCEPTED).order_by("answered_at")
    own = dict(left.values_list("person_id", "record_number"))
    for case in all_rows(spec, wanted, today):
        person = case.person
        number = person.record_number if person.site_id in sites else own.get(person.pk, "")
        yield person.pk, _row(case, number)


def _row(case: CaseRow, number: str) -> dict[str, Any]:
    p, lesion = case.prescription, case.lesion
    limb = lesion.limb if lesion else p.limb if p else None
    return {
        "record_number": number or None,
        "day": case.day,
        "foot": limb.side if limb else None,
        "lesion": lesion.label if lesion else None,
        "place": lesion.place if lesion else None,
        "device_class": p.device_class if p else None,
        "prescribed_on": p.prescribed_on if p else None,
        "fitted_on": p.fitted_on if p else None,
        "stopped_on": p.stopped_on if p else None,
        "first_offered": p.first_offered if p else None,
        "agreement": case.agreement or None,
        "departure_reason": p.departure_reason or None if p else None,
        "outcome": case.outcome_words or None,
        "days": case.days,
        "edition": p.edition if p else None,
        "notice": NOTICE,
    }


def _figure(figure: Figure, hide: bool) -> dict[str, Any]:
    """A figure; where small cells are hidden, so is what a small cell could be worked out from."""
    small = hide and (
        0 < figure.count < SMALL or (figure.of is not None and 0 < figure.of - figure.count < SMALL)
    )
    entry: dict[str, Any] = {
        "key": figure.key,
        "words": figure.words,
        "count": None if small else figure.count,
        "of": None if small else figure.of,
        "percent": None if small or figure.percent is None else round(figure.percent, 1),
        "interval_95": None,
        "suppressed": small,
    }
    if entry["percent"] is not None and figure.of:
        share = wilson(figure.count, figure.of)
        entry["interval_95"] = [round(100 * share.low, 1), round(100 * share.high, 1)]
    return entry


def report_value(wanted: AuditFilter, today: date, *, hide_small: bool) -> dict[str, Any]:
    """Every figure of the audit page with its definition."""
    found = audit_report(wanted, today)
    return {
        "sites": [site.name for site in wanted.sites],
        "since": wanted.since,
        "until": wanted.until,
        "device_class": wanted.device_class or None,
        "made_on": today,
        # A sentence used again is told on the page only: its key is a mark of free text.
        "figures": [
            _figure(f, hide_small) for f in found.figures.values() if not f.key.startswith("reused.")
        ],
        "median_to_device": found.median_words,
        "device_weeks": round(found.device_weeks, 1),
        "harm_per_100_device_weeks": {
            row.figure.key: None
            if row.rate is None or (hide_small and 0 < row.figure.count < SMALL)
            else round(row.rate, 2)
            for row in found.harm
        },
        "days_without_device": {"days": found.uncovered[0], "of": found.uncovered[1]},
        "recurrence": [
            {
                "weeks": r.weeks,
                "percent": r.share,
                "low": r.low,
                "high": r.high,
                "followed": None if hide_small and 0 < r.at_risk < SMALL else r.at_risk,
            }
            for r in found.recurrence
        ],
        "definitions": {
            name: [{"words": d.words, "says": d.says, "source": d.source} for d in entry]
            for name, entry in DEFINITIONS.items()
        },
        "notice": NOTICE,
    }
