"""What came of lesions since their first fitting: by severity, clinic, device class, place or depth."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from clinic.audit.reads.counted_site import handed_over, rows_of_sites
from clinic.audit.reads.followup import FollowUp, follow_ups
from clinic.audit.reads.severity import SEVERITIES, severities
from clinic.guidelines.devices import DEVICES
from clinic.healing.cohort import RULES, CaseRecord, Cohort, Ending, GroupOutcome, TimeZero, outcomes
from clinic.healing.incidence import Incidence
from clinic.healing.late_entry import late_entry_curve, well_watched
from clinic.healing.observed import NOT_OBSERVED
from clinic.healing.survival import at_risk
from clinic.models import TRUE_LESIONS, Depth, Lesion, Measurement, Prescription, Site, VisitState

__all__ = [
    "GROUPINGS",
    "LISTED",
    "MARKS",
    "MOST",
    "SMALL",
    "CaseLine",
    "GroupLine",
    "Outcomes",
    "OutcomesFilter",
    "outcomes_of",
]

#: Key -> words of what lesions are counted under.
GROUPINGS: dict[str, str] = {
    "severity": "Severity when first seen (SINBAD)",
    "severity_site": "Clinic and severity (SINBAD)",
    "site": "Clinic",
    "device": "First device",
    "place": "Place on the foot",
    "depth": "Depth when first seen",
}
#: Weeks of the at-risk table.
MARKS = (0, 4, 8, 12, 16, 20, 24)
#: Weeks since the ulcer began.
BEGAN_MARKS = (12, 26, 52)
#: Fewer lesions than this make no percentage (common practice of published audits, no source for the number).
SMALL = 5
#: More lesions than this are not counted on a page: a shorter period or one clinic is asked for.
MOST = 20_000
#: Up to so many the lesions of each group are listed below the table.
LISTED = 1_000
_REGIONS = {
    "forefoot": "Forefoot",
    "midfoot": "Midfoot",
    "rearfoot": "Rearfoot",
    "hallux": "Hallux",
    "lesser_toe": "Lesser toes",
}


#: As many groups as a chart can tell apart by dashes; the rest stand in the table.
DRAWN = 6
#: Letters of a clinic's short name beside a line.
SHORT = 12
#: Names that fit beside a line of a chart; the table has them in full.
_ON_CHARTS = {
    **{device.label: device.short_label for device in DEVICES.values()},
    SEVERITIES[0]: "SINBAD < 3",
    SEVERITIES[1]: "SINBAD ≥ 3",
    SEVERITIES[2]: "Not known",
    Depth.TENDON_CAPSULE.label: "Tendon or capsule",
    "Depth not looked at": "Not looked at",
    "never fitted": "Never fitted",
}


@dataclass(frozen=True)
class OutcomesFilter:
    """Lesions first seen in a period, and what they are counted under."""

    sites: tuple[Site, ...]
    since: date
    until: date
    by: str = "severity"


@dataclass(frozen=True)
class CaseLine:
    """One lesion behind a group's figures."""

    lesion: Lesion
    weeks: float
    ending: str


@dataclass(frozen=True)
class GroupLine:
    """One row of the table."""

    outcome: GroupOutcome
    chart_name: str
    cases: tuple[CaseLine, ...]
    counts: tuple[int, int, int, int]
    at_risk: tuple[int, ...]
    #: Week, share healed by it [%] and its interval; None where it was not observed that long.
    healed_at: tuple[tuple[int, float | None, tuple[float, float] | None], ...]

    @property
    def name(self) -> str:
        return self.outcome.group

    @property
    def n(self) -> int:
        return len(self.outcome.lesions)

    @property
    def small(self) -> bool:
        return self.n < SMALL

    @property
    def never_fitted(self) -> bool:
        return self.outcome.time_zero is TimeZero.FIRST_ASSESSMENT

    @property
    def median_weeks(self) -> float | None:
        """Week in which half had healed by cumulative incidence; None where it never came to that."""
        until = self.outcome.until
        reached = (p.time for p in self.outcome.incidence[0].curve if p.incidence >= 0.5 - 1e-12)
        first = next(reached, None)
        return None if first is None or until is None or first > until else first / 7.0

    @property
    def open_weeks(self) -> tuple[float, float, float] | None:
        """Mean weeks open of the first 20 with its 95 % interval."""
        mean = self.outcome.open_mean
        return None if mean is None else (mean.mean / 7.0, mean.low / 7.0, mean.high / 7.0)


@dataclass(frozen=True)
class SinceBegan:
    """Healing counted from the day the ulcers began: each counts from the day it was first seen here.

    Shares are of those still open in week `start`; before it too few were seen here together.
    """

    n: int
    late: int
    start: float
    healed_at: tuple[tuple[int, float | None], ...]
    median: float | None


@dataclass(frozen=True)
class Outcomes:
    """The page: groups, the test, and who was left out; with `too_many` lesions nothing is counted."""

    cohort: Cohort
    lines: tuple[GroupLine, ...]
    total: int
    left_out: tuple[Lesion, ...]
    rules: tuple[str, ...] = RULES
    too_many: bool = False
    began: SinceBegan | None = None
    not_observed: str = NOT_OBSERVED

    @property
    def listed(self) -> bool:
        return self.total <= LISTED

    @property
    def drawn(self) -> tuple[GroupLine, ...]:
        """The largest groups with enough lesions, in the order of the table; those never fitted at the
        end.
        """
        able = [line for line in self.lines if not line.small]
        never = [line for line in able if line.never_fitted]
        fitted = [line for line in able if not line.never_fitted]
        largest = sorted(fitted, key=lambda line: -line.n)[: DRAWN - len(never)]
        return (*[line for line in fitted if line in largest], *never)


def outcomes_of(wanted: OutcomesFilter, today: date) -> Outcomes:
    """Outcomes of the lesions asked for; a fixed number of queries whatever their number."""
    ids = [site.pk for site in wanted.sites]
    lesions = list(
        Lesion.objects.filter(
            TRUE_LESIONS,
            rows_of_sites("limb__person__site", ids, handed_over(ids)),
            limb__person__restricted_on=None,  # restricted by law: in no figure
            first_seen_on__gte=wanted.since,
            first_seen_on__lte=wanted.until,
        )
        .select_related("limb__person__site", "counts_for")
        .order_by("first_seen_on", "pk")[: MOST + 1]
    )
    if len(lesions) > MOST:
        return Outcomes(outcomes((), today), (), len(lesions), (), too_many=True)
    ends, fitted = follow_ups(lesions, today), _first_fitted(lesions)
    severity = severities(lesions)
    groups = _groups(wanted.by, lesions, fitted, severity)
    # Devices are chosen by severity: groups are compared within it, unless severity is the group.
    strata = {} if wanted.by in ("severity", "severity_site") else severity
    sizes = Counter(groups.values())
    records = [
        _record(
            lesion,
            ends[lesion.pk],
            fitted.get(lesion.pk),
            groups[lesion.pk],
            strata.get(lesion.pk, ""),
        )
        for lesion in lesions
    ]
    # Severities and clinics keep their own order, so that nobody is ranked; other groups stand by their size.
    own_order = wanted.by in ("severity", "severity_site", "site")
    records.sort(key=lambda r: (0 if own_order else -sizes[r.group], _place(r.group)))
    cohort = outcomes(records, today)
    by_key = {str(lesion.pk): lesion for lesion in lesions}
    return Outcomes(
        cohort=cohort,
        lines=tuple(_line(group, by_key, wanted.by) for group in cohort.groups),
        total=len(lesions),
        left_out=tuple(by_key[key] for key in cohort.before_time_zero),
        began=_since_began(lesions, ends),
    )


def _place(group: str) -> tuple[str, int]:
    """Clinics by name, severities from mild to severe."""
    clinic, _, severity = group.rpartition(": ")
    return (clinic, SEVERITIES.index(severity)) if severity in SEVERITIES else (group, 0)


def _first_fitted(lesions: list[Lesion]) -> dict[int, Prescription]:
    """The first device of each lesion that was fitted: what followed does not move it to another group."""
    link = Prescription.lesions.through
    rows = (
        link.objects.filter(lesion__in=lesions, prescription__fitted_on__isnull=False)
        .select_related("prescription")
        .defer(
            "prescription__facts",
            "prescription__advice",
            "prescription__content",
            "prescription__forecast_shown",
        )
        .order_by("-prescription__fitted_on", "-prescription__pk")
    )
    return {row.lesion_id: row.prescription for row in rows}  # type: ignore[attr-defined]


def _groups(
    by: str, lesions: list[Lesion], fitted: dict[int, Prescription], severity: dict[int, str]
) -> dict[int, str]:
    if by == "severity":
        return severity
    if by == "site":
        return {lesion.pk: lesion.counted_site.name for lesion in lesions}
    if by == "severity_site":
        return {lesion.pk: f"{lesion.counted_site.name}: {severity[lesion.pk]}" for lesion in lesions}
    if by == "place":
        return {
            lesion.pk: _REGIONS.get(lesion.foot_site.region, lesion.foot_site.region) for lesion in lesions
        }
    if by == "depth":
        first: dict[int, str] = {}
        rows = Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS).exclude(
            depth=""
        )
        for pk, depth in rows.order_by("-visit__visited_on", "-pk").values_list("lesion_id", "depth"):
            first[pk] = Depth(depth).label
        return {lesion.pk: first.get(lesion.pk, "Depth not looked at") for lesion in lesions}
    return {
        lesion.pk: DEVICES[fitted[lesion.pk].device_class].label if lesion.pk in fitted else "Never fitted"
        for lesion in lesions
    }


def _since_began(lesions: list[Lesion], ends: dict[int, FollowUp]) -> SinceBegan | None:
    """All lesions on the clock of their ulcer, left-truncated at first sight; amputated or died never heals
    and is seen to the end.
    """
    rows = []
    for lesion in lesions:
        end = ends[lesion.pk]
        entry = (lesion.first_seen_on - lesion.onset_on).days
        days = ((end.ended or end.last_seen) - lesion.onset_on).days
        if end.ending in (Ending.AMPUTATION, Ending.DEATH):
            days = max(days, 7 * BEGAN_MARKS[-1] + 1)
        if days > entry:
            rows.append((entry, days, end.ending is Ending.HEALED))
    if not rows:
        return None
    entries, durations, healed = (list(column) for column in zip(*rows, strict=True))
    stretch = well_watched(entries, durations, SMALL)
    if stretch is None:
        return None
    start, until = stretch
    # Of those still open at the start: who ended before it says nothing of what follows.
    kept = [(max(entry, start), days, mark) for entry, days, mark in rows if days > start]
    curve = late_entry_curve(*(list(column) for column in zip(*kept, strict=True)))
    marks = tuple(
        (week, 100.0 * (1.0 - curve.survival_at(7.0 * week)) if start <= 7.0 * week <= until else None)
        for week in BEGAN_MARKS
    )
    median = curve.median
    return SinceBegan(
        n=len(kept),
        late=sum(entry > start for entry, _, _ in kept),
        start=start / 7.0,
        healed_at=marks,
        median=None if median is None or median > until else median / 7.0,
    )


def _record(
    lesion: Lesion, end: FollowUp, first: Prescription | None, group: str, stratum: str
) -> CaseRecord:
    # A fitting before the lesion was seen belongs to an earlier lesion of the limb: its clock starts when
    # seen.
    fitted = max(first.fitted_on, lesion.first_seen_on) if first and first.fitted_on else None
    return CaseRecord(
        lesion=str(lesion.pk),
        group=group,
        first_seen=lesion.first_seen_on,
        first_fitted=fitted,
        # Whoever was fitted was seen that day; an ending before it still leaves the lesion out.
        last_seen=max(end.last_seen, fitted or lesion.first_seen_on),
        ending=end.ending,
        ended=end.ended,
        person=str(lesion.limb.person_id),
        stratum=stratum,
    )


def _chart_name(name: str, by: str, site: Site) -> str:
    """A name that fits beside a line; of a clinic the first letters of its short name."""
    if by not in ("site", "severity_site") or name in _ON_CHARTS:
        return _ON_CHARTS.get(name, name)
    _, _, severity = name.rpartition(": ")
    short = site.short_name[:SHORT]
    return short if by == "site" else f"{short}: {_ON_CHARTS.get(severity, severity).removeprefix('SINBAD ')}"


def _line(group: GroupOutcome, lesions: dict[str, Lesion], by: str) -> GroupLine:
    counted, until = Counter(group.endings), group.until
    healed = group.incidence[0]
    causes = (Ending.HEALED, Ending.AMPUTATION, Ending.DEATH, None)
    return GroupLine(
        outcome=group,
        chart_name=_chart_name(group.group, by, lesions[group.lesions[0]].counted_site),
        cases=tuple(
            CaseLine(lesions[key], days / 7.0, str(ending) if ending else "followed, not ended")
            for key, days, ending in zip(group.lesions, group.durations, group.endings, strict=True)
        ),
        counts=(
            counted[causes[0]],
            counted[causes[1]],
            counted[causes[2]],
            counted[causes[3]],
        ),
        at_risk=at_risk(group.durations, [7.0 * week for week in MARKS]),
        healed_at=tuple(
            (week, 100.0 * healed.at(7.0 * week), _ends(healed, 7.0 * week))
            if until is not None and 7.0 * week <= until
            else (week, None, None)
            for week in (12, 20)
        ),
    )


def _ends(healed: Incidence, day: float) -> tuple[float, float] | None:
    """Interval in percent at a day; None where it is not estimable."""
    last = next((p for p in reversed(healed.curve) if p.time <= day), None)
    if last is None or last.low is None or last.high is None:
        return None
    return 100.0 * last.low, 100.0 * last.high
