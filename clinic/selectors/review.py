"""The podiatrist's work list: every open lesion of a site, the worrying ones first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Max
from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe

from clinic.charts.sparkline import sparkline_svg
from clinic.models import (
    Attendance,
    Lesion,
    LesionState,
    PersonState,
    Prescription,
    RedFlag,
    Site,
    Visit,
    VisitState,
)

from .healing import LesionHealing, healings_of
from .lesions import OPEN_STATES

__all__ = ["CONCERNS", "ReviewGroup", "ReviewRow", "review_groups"]

#: A lesion without an area for longer than two weekly visits is looked at again (design choice of this program).
UNMEASURED_DAYS = 14
SPARK_VISITS = 8
#: Concern -> words of its heading, in the order of the list.
CONCERNS: dict[str, str] = {
    "stop": "Stop: past its time, or a red flag stands",
    "worsening": "Worsening",
    "stalled": "Stalled",
    "slow": "Slow",
    "unmeasured": "No area for more than 14 days",
    "too_early": "Too early to judge",
    "to_confirm": "Closed, to confirm",
    "on_course": "On course",
}


@dataclass(frozen=True)
class ReviewRow:
    """One open lesion with why it stands where it does."""

    healing: LesionHealing
    concern: str
    reasons: tuple[str, ...]
    spark: SafeString
    device: Prescription | None
    days_since_visit: int | None

    @property
    def lesion(self) -> Lesion:
        return self.healing.lesion

    @property
    def visit_words(self) -> str:
        days = self.days_since_visit
        if days is None:
            return "no visit yet"
        return "seen today" if days == 0 else f"last visit {days} day{'' if days == 1 else 's'} ago"


@dataclass(frozen=True)
class ReviewGroup:
    concern: str
    words: str
    rows: tuple[ReviewRow, ...]


def review_groups(site: Site, today: date) -> tuple[ReviewGroup, ...]:
    """Open lesions of people in care, by concern; eight queries whatever their number."""
    lesions = list(
        Lesion.objects.filter(
            limb__person__site=site, limb__person__state=PersonState.IN_CARE, state__in=OPEN_STATES
        )
        .select_related("limb__person")
        .order_by("limb__person__family_name", "limb__person__given_name", "label")
    )
    judged = healings_of(lesions)
    devices = {
        p.limb_id: p
        for p in Prescription.objects.filter(
            limb__in={lesion.limb_id for lesion in lesions}, stopped_on=None
        ).defer("facts", "advice", "forecast_shown")
    }
    people = {lesion.limb.person_id for lesion in lesions}
    seen: dict[int, date] = dict(
        Visit.objects.filter(person__in=people, state=VisitState.STANDS, attendance=Attendance.CAME)
        .order_by()
        .values_list("person_id")
        .annotate(Max("visited_on"))
    )
    flags: dict[int, int] = dict(
        RedFlag.objects.filter(person__in=people, answer="")
        .order_by()
        .values_list("person_id")
        .annotate(Count("pk"))
    )
    rows = [
        _row(
            judged[lesion.pk],
            devices.get(lesion.limb_id),
            seen.get(lesion.limb.person_id),
            flags.get(lesion.limb.person_id, 0),
            today,
            site,
        )
        for lesion in lesions
    ]
    return tuple(
        ReviewGroup(concern, words, tuple(row for row in rows if row.concern == concern))
        for concern, words in CONCERNS.items()
        if any(row.concern == concern for row in rows)
    )


def _row(
    healing: LesionHealing,
    device: Prescription | None,
    seen: date | None,
    flags: int,
    today: date,
    site: Site,
) -> ReviewRow:
    stops = tuple(_stops(device, flags, today))
    old = _unmeasured(healing, today)
    concern = healing.kind
    if stops:
        concern = "stop"
    elif old and concern in ("too_early", "on_course"):
        concern = "unmeasured"
    return ReviewRow(
        healing=healing,
        concern=concern,
        reasons=(*stops, *_reasons(healing, old, today, site)),
        # Drawn by our own code from dates and numbers only.
        spark=mark_safe(_spark(healing)),  # noqa: S308
        device=device,
        days_since_visit=(today - seen).days if seen else None,
    )


def _stops(device: Prescription | None, flags: int, today: date) -> Iterable[str]:
    if flags:
        yield "A red flag of this person is not answered."
    if device and device.sealed_on and not device.opened_on and device.open_by and device.open_by < today:
        yield f"Sealed device was to be opened by {date_format(device.open_by)}: open it today."


def _unmeasured(healing: LesionHealing, today: date) -> str:
    """Why the last area is too old to judge by, or nothing."""
    if healing.lesion.state != LesionState.OPEN:
        return ""
    last = healing.areas[-1].day if healing.areas else None
    since = last or healing.lesion.first_seen_on
    days = (today - since).days
    if days <= UNMEASURED_DAYS:
        return ""
    if last is None:
        return f"No area yet, {days} days after the lesion was first seen."
    return f"Last area {days} days ago."


def _reasons(healing: LesionHealing, old: str, today: date, site: Site) -> Iterable[str]:
    if old:
        yield old
    closed_on = healing.lesion.closed_on
    if healing.lesion.state == LesionState.TO_CONFIRM and closed_on:
        due = closed_on + timedelta(days=site.confirm_closure_days)
        yield (
            f"Covered and dry since {date_format(closed_on)}; "
            + (f"can be confirmed from {date_format(due)}." if due > today else "confirmation is due.")
        )
    elif healing.report is None:
        if not old:
            yield "No area measured yet."
    else:
        yield from (reason.text for reason in healing.report.verdict.reasons)
        yield from (reason.text for reason in healing.report.review)


def _spark(healing: LesionHealing) -> str:
    measured = healing.measurements[-SPARK_VISITS:]
    return sparkline_svg([(m.visit.visited_on, m.area_cm2) for m in measured], width=120, height=32)
