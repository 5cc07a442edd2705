"""What came of lesions since their first fitting: by device class, place or depth."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from clinic.healing.cohort import RULES, CaseRecord, Cohort, Ending, GroupOutcome, TimeZero, outcomes
from clinic.healing.incidence import Incidence
from clinic.healing.proportion import Proportion, wilson
from clinic.healing.survival import at_risk
from clinic.models import Depth, DeviceClass, Lesion, Measurement, Prescription, Site, VisitState

from .followup import FollowUp, follow_ups

__all__ = [
    "GROUPINGS",
    "MARKS",
    "SMALL",
    "CaseLine",
    "GroupLine",
    "Outcomes",
    "OutcomesFilter",
    "outcomes_of",
]

#: Key -> words of what lesions are counted under.
GROUPINGS: dict[str, str] = {
    "device": "First device",
    "place": "Place on the foot",
    "depth": "Depth when first seen",
}
#: Weeks of the at-risk table.
MARKS = (0, 4, 8, 12, 16, 20, 24)
#: Fewer lesions than this make no percentage (common practice of published audits, no source for the number).
SMALL = 5
_REGIONS = {
    "forefoot": "Forefoot",
    "midfoot": "Midfoot",
    "rearfoot": "Rearfoot",
    "hallux": "Hallux",
    "lesser_toe": "Lesser toes",
}


#: As many groups as a chart can tell apart by dashes; the rest stand in the table.
DRAWN = 6
#: Names that fit beside a line of a chart; the table has them in full.
_ON_CHARTS = {
    DeviceClass.TOTAL_CONTACT_CAST.label: "Cast",
    DeviceClass.WALKER_NON_REMOVABLE.label: "Walker, stays on",
    DeviceClass.WALKER_KNEE_HIGH_REMOVABLE.label: "Walker, comes off",
    DeviceClass.ANKLE_HIGH_REMOVABLE.label: "Ankle-high",
    DeviceClass.FELTED_FOAM.label: "Felted foam",
    DeviceClass.HEEL_RELIEVING.label: "Heel relief",
    DeviceClass.DORSUM_FREE.label: "Open dorsum",
    DeviceClass.TOE_SPACER.label: "Toe spacer",
    DeviceClass.FOOTWEAR_MODIFICATION.label: "Footwear",
    DeviceClass.HEEL_FLOAT.label: "Heel float",
    Depth.TENDON_CAPSULE.label: "Tendon or capsule",
    "Depth not looked at": "Not looked at",
    "never fitted": "Never fitted",
}


@dataclass(frozen=True)
class OutcomesFilter:
    """Lesions first seen in a period, and what they are counted under."""

    site: Site
    since: date
    until: date
    by: str = "device"


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
    cases: tuple[CaseLine, ...]
    counts: tuple[int, int, int, int]
    at_risk: tuple[int, ...]
    healed_at: tuple[tuple[int, float, tuple[float, float] | None], ...]

    @property
    def name(self) -> str:
        return self.outcome.group

    @property
    def chart_name(self) -> str:
        return _ON_CHARTS.get(self.name, self.name)

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
    def healed_share(self) -> Proportion:
        return wilson(self.counts[0], self.n)

    @property
    def median_weeks(self) -> float | None:
        """Week in which half had healed by cumulative incidence; None where it never came to that."""
        return next(
            (p.time / 7.0 for p in self.outcome.incidence[0].curve if p.incidence >= 0.5 - 1e-12), None
        )


@dataclass(frozen=True)
class Outcomes:
    """The page: groups, the test, and who was left out."""

    cohort: Cohort
    lines: tuple[GroupLine, ...]
    total: int
    left_out: tuple[Lesion, ...]
    rules: tuple[str, ...] = RULES

    @property
    def drawn(self) -> tuple[GroupLine, ...]:
        """The largest groups with enough lesions; those never fitted keep their place at the end."""
        able = [line for line in self.lines if not line.small]
        never = [line for line in able if line.never_fitted]
        return (*[line for line in able if not line.never_fitted][: DRAWN - len(never)], *never)


def outcomes_of(asked: OutcomesFilter, today: date) -> Outcomes:
    """Outcomes of the lesions asked for; five queries whatever their number."""
    lesions = list(
        Lesion.objects.filter(
            limb__person__site=asked.site,
            limb__person__restricted_on=None,  # restricted by law: in no figure
            first_seen_on__gte=asked.since,
            first_seen_on__lte=asked.until,
        )
        .select_related("limb__person")
        .order_by("first_seen_on", "pk")
    )
    ends, fitted = follow_ups(lesions, today), _first_fitted(lesions)
    groups = _groups(asked.by, lesions, fitted)
    sizes = Counter(groups.values())
    records = [
        _record(lesion, ends[lesion.pk], fitted.get(lesion.pk), groups[lesion.pk]) for lesion in lesions
    ]
    records.sort(key=lambda record: (-sizes[record.group], record.group))
    cohort = outcomes(records, today)
    by_key = {str(lesion.pk): lesion for lesion in lesions}
    return Outcomes(
        cohort=cohort,
        lines=tuple(_line(group, by_key) for group in cohort.groups),
        total=len(lesions),
        left_out=tuple(by_key[key] for key in cohort.before_time_zero),
    )


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


def _groups(by: str, lesions: list[Lesion], fitted: dict[int, Prescription]) -> dict[int, str]:
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
    labels = dict(DeviceClass.choices)
    return {
        lesion.pk: labels[fitted[lesion.pk].device_class] if lesion.pk in fitted else "Never fitted"
        for lesion in lesions
    }


def _record(lesion: Lesion, end: FollowUp, first: Prescription | None, group: str) -> CaseRecord:
    # A fitting before the lesion was seen belongs to an earlier lesion of the limb: its clock starts when seen.
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
    )


def _line(group: GroupOutcome, lesions: dict[str, Lesion]) -> GroupLine:
    counted = Counter(group.endings)
    healed = group.incidence[0]
    causes = (Ending.HEALED, Ending.AMPUTATION, Ending.DEATH, None)
    return GroupLine(
        outcome=group,
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
            (week, 100.0 * healed.at(7.0 * week), _ends(healed, 7.0 * week)) for week in (12, 20)
        ),
    )


def _ends(healed: Incidence, day: float) -> tuple[float, float] | None:
    """Interval in percent at a day; None where it is not estimable."""
    last = next((p for p in reversed(healed.curve) if p.time <= day), None)
    if last is None or last.low is None or last.high is None:
        return None
    return 100.0 * last.low, 100.0 * last.high
