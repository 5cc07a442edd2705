"""What the record still owes: each gap with its count, who can mend it, and the page on which it is
mended.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from clinic.guidelines.due import oldest_fresh
from clinic.models import (
    OPEN_STATES,
    UNSIGNED,
    Attendance,
    Lesion,
    LimbFinding,
    LimbPlan,
    Measurement,
    Person,
    PersonState,
    Photo,
    PhotoScale,
    PhotoSubject,
    Prescription,
    Site,
    Visit,
    VisitState,
    Weight,
)

__all__ = ["GAPS", "Gap", "GapCount", "GapPage", "GapRow", "gap_counts", "gap_page"]

A_PAGE = 50
#: Visits and photos of so many days are looked at (design choice of this program).
RECENT_DAYS = 90
STAFF, PODIATRIST = "Clinic staff or a podiatrist", "A podiatrist"


@dataclass(frozen=True)
class Gap:
    """One kind of gap. `target` is the route on which it is mended, `argument` the column of its record."""

    key: str
    words: str
    says: str
    who: str
    rows: Callable[[list[int], date], QuerySet[Any]]
    of: Callable[[list[int], date], QuerySet[Any]]
    target: str
    argument: str
    person: str


@dataclass(frozen=True)
class GapCount:
    gap: Gap
    count: int
    of: int


@dataclass(frozen=True)
class GapRow:
    pk: int
    person: Person
    words: str
    url: str
    argument: Any


@dataclass(frozen=True)
class GapPage:
    gap: Gap
    rows: tuple[GapRow, ...]
    next_after: int | None


def _in_care(sites: list[int]) -> QuerySet[Any]:
    return Lesion.objects.filter(
        limb__person__site__in=sites, limb__person__state=PersonState.IN_CARE, state__in=OPEN_STATES
    ).select_related("limb__person")


def _open(sites: list[int], today: date) -> QuerySet[Any]:
    return _in_care(sites)


def _perfusion(sites: list[int], today: date) -> QuerySet[Any]:
    # An ankle value alone settles nothing, however normal: see guidelines/standing_perfusion.py.
    measured = Q(toe_pressure_mmhg__isnull=False) | Q(tcpo2_mmhg__isnull=False) | ~Q(waveform="")
    fresh = LimbFinding.objects.filter(measured, limb=OuterRef("limb"), found_on__lte=today)
    # The house rule is a site's own number of days; few sites differ, so each number is asked once.
    ages = _ages(sites, "perfusion_fresh_days")
    return _by_age(
        _in_care(sites),
        "limb__person__site",
        ages,
        lambda since: Exists(fresh.filter(found_on__gte=since)),
        today,
    )


def _ages(sites: list[int], name: str) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for pk, days in Site.objects.filter(pk__in=sites).values_list("pk", name):
        found.setdefault(days, []).append(pk)
    return found


def _by_age(
    rows: QuerySet[Any], path: str, ages: dict[int, list[int]], fresh: Callable[[date], Any], today: date
) -> QuerySet[Any]:
    """Rows without anything fresh, by the number of days of their own site."""
    if len(ages) == 1:
        (days,) = ages
        return rows.filter(~fresh(oldest_fresh(days, today)))
    owed = Q(pk__in=[])
    for days, sites in ages.items():
        owed |= Q(**{f"{path}__in": sites}) & ~Q(fresh(oldest_fresh(days, today)))
    return rows.filter(owed)


def _sensation(sites: list[int], today: date) -> QuerySet[Any]:
    tested = LimbFinding.objects.filter(limb=OuterRef("limb"), monofilament_tested__isnull=False)
    return _in_care(sites).filter(~Exists(tested))


def _with_bed(sites: list[int]) -> QuerySet[Any]:
    """Ulcers that were not found covered at their last visit, whose bed nobody is asked about; with whether
    infection was looked for then.
    """
    last = Measurement.objects.filter(lesion=OuterRef("pk"), visit__state=VisitState.STANDS).order_by(
        "-visit__visited_on", "-pk"
    )
    looked, covered = (Subquery(last.values(name)[:1]) for name in ("infection_looked", "covered_dry"))
    found = _in_care(sites).annotate(looked=looked, covered=covered)
    return found.filter(Q(covered=False) | Q(covered=None))


def _depth(sites: list[int], today: date) -> QuerySet[Any]:
    seen = Measurement.objects.filter(lesion=OuterRef("pk"), visit__state=VisitState.STANDS).exclude(depth="")
    return _with_bed(sites).filter(~Exists(seen))


def _infection(sites: list[int], today: date) -> QuerySet[Any]:
    return _with_bed(sites).filter(looked=False)


def _people(sites: list[int], today: date) -> QuerySet[Any]:
    here = Lesion.objects.filter(limb__person=OuterRef("pk"), state__in=OPEN_STATES)
    return Person.objects.filter(Exists(here), site__in=sites, state=PersonState.IN_CARE)


def _weights(sites: list[int], today: date) -> QuerySet[Any]:
    fresh = Weight.objects.standing().filter(person=OuterRef("pk"))
    ages = _ages(sites, "weight_fresh_days")
    return _by_age(
        _people(sites, today), "site", ages, lambda since: Exists(fresh.filter(measured_on__gte=since)), today
    )


def _visits(sites: list[int], today: date) -> QuerySet[Any]:
    """Visits made while a lesion of the person was open."""
    standing = Lesion.objects.filter(
        Q(closed_on__isnull=True) | Q(closed_on__gte=OuterRef("visited_on")),
        Q(ended_on__isnull=True) | Q(ended_on__gte=OuterRef("visited_on")),
        limb__person=OuterRef("person"),
        first_seen_on__lte=OuterRef("visited_on"),
    )
    return Visit.objects.filter(
        Exists(standing),
        person__site__in=sites,
        attendance=Attendance.CAME,
        state=VisitState.STANDS,
        visited_on__gte=today - timedelta(days=RECENT_DAYS),
        visited_on__lte=today,
    ).select_related("person")


def _unmeasured(sites: list[int], today: date) -> QuerySet[Any]:
    return _visits(sites, today).filter(~Exists(Measurement.objects.filter(visit=OuterRef("pk"))))


def _unfinished(sites: list[int], today: date) -> QuerySet[Any]:
    return _visits(sites, today).filter(unfinished=True)


def _photos(sites: list[int], today: date) -> QuerySet[Any]:
    return (
        Photo.objects.standing()
        .filter(
            lesion__limb__person__site__in=sites,
            subject=PhotoSubject.WOUND,
            drawn=False,
            taken_on__gte=today - timedelta(days=RECENT_DAYS),
        )
        .select_related("lesion__limb__person")
    )


def _unscaled(sites: list[int], today: date) -> QuerySet[Any]:
    return _photos(sites, today).filter(~Exists(PhotoScale.objects.filter(photo=OuterRef("pk"))))


def _plans(sites: list[int], today: date) -> QuerySet[Any]:
    return LimbPlan.objects.filter(
        limb__person__site__in=sites, limb__person__state=PersonState.IN_CARE
    ).select_related("limb__person", "plan")


def _unsigned(sites: list[int], today: date) -> QuerySet[Any]:
    return _plans(sites, today).filter(plan__state="draft", ended_on=None)


def _devices(sites: list[int], today: date) -> QuerySet[Any]:
    return (
        Prescription.objects.filter(limb__person__site__in=sites, stopped_on=None)
        .select_related("limb__person")
        .defer("facts", "advice", "content", "forecast_shown")
    )


def _second(sites: list[int], today: date) -> QuerySet[Any]:
    return _devices(sites, today).filter(UNSIGNED)


GAPS: dict[str, Gap] = {
    gap.key: gap
    for gap in (
        Gap(
            "perfusion",
            "Open ulcers without a fresh blood-flow measurement",
            "No toe pressure, TcPO2 or Doppler waveform of the limb within the house rule of its clinic.",
            STAFF,
            _perfusion,
            _open,
            "finding_new",
            "limb_id",
            "limb__person",
        ),
        Gap(
            "sensation",
            "Open ulcers on a foot never tested for sensation",
            "No monofilament test of the foot.",
            STAFF,
            _sensation,
            _open,
            "finding_new",
            "limb_id",
            "limb__person",
        ),
        Gap(
            "depth",
            "Open ulcers whose depth was never looked at",
            "No depth at any standing visit.",
            STAFF,
            _depth,
            _open,
            "visit_new",
            "limb__person_id",
            "limb__person",
        ),
        Gap(
            "infection",
            "Open ulcers not looked at for infection at the last visit",
            'Infection counts from the same day only; not looked at is not "no".',
            STAFF,
            _infection,
            _open,
            "visit_new",
            "limb__person_id",
            "limb__person",
        ),
        Gap(
            "weight",
            "Patients with an open ulcer whose weight is missing or too old",
            "Older than the house rule of their clinic; the cut of an insole hangs on it.",
            STAFF,
            _weights,
            _people,
            "weight_new",
            "pk",
            "",
        ),
        Gap(
            "measurement",
            f"Visits of the last {RECENT_DAYS} days without a measurement",
            "The patient came with an open ulcer and nothing was measured or said not to be measurable.",
            STAFF,
            _unmeasured,
            _visits,
            "visit",
            "pk",
            "person",
        ),
        Gap(
            "unfinished",
            "Visits begun and not finished",
            "Left for another to finish.",
            STAFF,
            _unfinished,
            _visits,
            "visit",
            "pk",
            "person",
        ),
        Gap(
            "scale",
            f"Photos of the last {RECENT_DAYS} days without a scale",
            "Without a card or ruler marked no area can be traced on them.",
            STAFF,
            _unscaled,
            _photos,
            "lesion",
            "lesion_id",
            "lesion__limb__person",
        ),
        Gap(
            "plan",
            "Relief plans not signed",
            "A draft drawing must not be cut.",
            PODIATRIST,
            _unsigned,
            _plans,
            "plan",
            "plan__code",
            "limb__person",
        ),
        Gap(
            "second",
            "Devices that wait for a second signature",
            "Until then they are not fitted.",
            "Another podiatrist than the one who signed",
            _second,
            _devices,
            "prescription",
            "pk",
            "limb__person",
        ),
    )
}


def gap_counts(sites: Iterable[int], today: date) -> tuple[GapCount, ...]:
    """Every gap with its count, and of how many; a fixed number of queries."""
    ids = list(sites)
    wholes: dict[Any, int] = {}
    found = []
    for gap in GAPS.values():
        if gap.of not in wholes:
            wholes[gap.of] = gap.of(ids, today).count()
        found.append(GapCount(gap, gap.rows(ids, today).count(), wholes[gap.of]))
    return tuple(found)


def _walk(row: Any, path: str) -> Any:
    for step in path.split("__") if path else ():
        row = getattr(row, step)
    return row


def gap_page(gap: Gap, sites: Iterable[int], today: date, after: int | None) -> GapPage:
    """A page of what is owed, in the order it was written."""
    rows = gap.rows(list(sites), today).order_by("pk")
    if after is not None:
        rows = rows.filter(pk__gt=after)
    found = list(rows[: A_PAGE + 1])
    shown = found[:A_PAGE]
    return GapPage(
        gap,
        tuple(
            GapRow(r.pk, _walk(r, gap.person), _words(r), gap.target, _walk(r, gap.argument)) for r in shown
        ),
        shown[-1].pk if len(found) > A_PAGE else None,
    )


def _words(row: Any) -> str:
    if isinstance(row, Lesion):
        return f"Ulcer {row.label}, {row.where}"
    if isinstance(row, Person):
        return "Weight"
    if isinstance(row, LimbPlan):
        return f"Relief plan {row.plan.code}, {row.limb.side} foot"
    return str(row)
