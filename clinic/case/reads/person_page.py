"""Everything a person's page shows, read with a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.alerts.reads.antibiotics import CourseRow, courses_of_lesions
from clinic.alerts.reads.flags import flag_words, flags_open
from clinic.alerts.reads.results import ResultRow, results_of
from clinic.alerts.states import referral_state
from clinic.case.reads.timeline import Timeline, timeline
from clinic.case.reads.waiting import (
    REFERRED,
    Wait,
    by_urgency,
    waits_for_course,
    waits_for_device,
    waits_for_items,
    waits_for_look,
    waits_for_plan,
    waits_for_referral,
    waits_for_result,
    waits_for_review,
    waits_for_visit,
)
from clinic.curves.reads.lesions import LesionRow, lesion_rows, lesions_of
from clinic.guidelines.due import sealed_past, visit_standing
from clinic.lesions.reads.foot_maps import FootMap, lesion_maps
from clinic.lesions.reads.non_healing import items_due, last_reviews, review_due_words
from clinic.models import (
    Amputation,
    Lesion,
    LesionState,
    Limb,
    LimbPlan,
    Look,
    Person,
    PersonState,
    PhotoConsent,
    Prescription,
    RedFlag,
    Referral,
    Visit,
    VisitState,
    Weight,
)
from clinic.people.reads.circumstances import CircumstancesCard, circumstances_card
from clinic.people.reads.limbs import FindingValue, both_limbs, latest_findings, running_devices
from clinic.relief.reads.watch import flags_standing

__all__ = ["FootSummary", "PersonPage", "person_page"]

WEIGHTS_SHOWN = 5


@dataclass(frozen=True)
class FootSummary:
    """One foot of the page: its maps, its lesions, its device and its findings."""

    limb: Limb
    maps: tuple[FootMap, FootMap] | None
    open: list[LesionRow]
    past: list[Lesion]
    device: Prescription | None
    device_overdue: bool
    findings: Sequence[FindingValue]


@dataclass(frozen=True)
class PersonPage:
    person: Person
    feet: list[FootSummary]
    weights: list[Weight]
    circumstances: CircumstancesCard
    flags: list[tuple[RedFlag, list[str]]]
    referrals: list[Referral]
    results: tuple[ResultRow, ...]
    courses: tuple[CourseRow, ...]
    consent: PhotoConsent | None
    last_visit: Visit | None
    next_overdue: bool
    timeline: Timeline
    #: What waits about this person today; what harms if it waits stands first.
    waits: tuple[Wait, ...]

    @property
    def open_count(self) -> int:
        return sum(len(foot.open) for foot in self.feet)


def _feet(person: Person, today: date) -> list[FootSummary]:
    limbs = both_limbs(person)
    lesions = list(lesions_of(person))
    rows = lesion_rows(lesion for lesion in lesions if lesion.is_open)
    found, devices = latest_findings(limbs, person.site, today), running_devices(limbs)
    feet = []
    for limb in limbs:
        ours = [row for row in rows if row.lesion.limb_id == limb.pk]
        device = devices.get(limb.pk)
        feet.append(
            FootSummary(
                limb=limb,
                # An amputation above the ankle leaves no foot to draw.
                maps=None
                if limb.amputation == Amputation.MAJOR
                else lesion_maps(limb.side, [row.lesion for row in ours]),
                open=ours,
                past=[x for x in lesions if x.limb_id == limb.pk and not x.is_open],
                device=device,
                device_overdue=bool(device and device.stays_closed and sealed_past(device.open_by, today)),
                findings=found[limb.pk],
            )
        )
    return feet


def person_page(person: Person, *, today: date, everything: bool = False) -> PersonPage:
    """The whole page of one person."""
    last_visit = person.visits.filter(state=VisitState.STANDS).first()
    feet = _feet(person, today)
    standing = visit_standing(
        last_visit.next_on if last_visit else None,
        today,
        in_care=person.state == PersonState.IN_CARE,
        open_lesions=any(foot.open for foot in feet),
    )
    open_ones = [row.lesion for foot in feet for row in foot.open]
    looks = Look.objects.filter(lesion__in=open_ones, answer="").select_related("created_by", "lesion")
    drafts = list(
        LimbPlan.objects.filter(lesions__in=open_ones, ended_on=None, plan__state="draft")
        .select_related("plan")
        .defer("plan__result", "plan__spec")
        .distinct()
    )
    referrals = list(person.referrals.all())
    results = results_of(today, person=person)
    courses = courses_of_lesions(today, lesion__limb__person=person)
    return PersonPage(
        person=person,
        feet=feet,
        weights=list(person.weights.newest_first()[:WEIGHTS_SHOWN]),
        circumstances=circumstances_card(person, today),
        flags=[(flag, flag_words(flag.flags)) for flag in flags_open(person)],
        referrals=referrals,
        results=results,
        courses=courses,
        consent=person.photo_consents.first(),
        last_visit=last_visit,
        next_overdue=standing == "overdue",
        timeline=timeline(person, everything=everything),
        waits=by_urgency(
            (wait for foot in feet for wait in waits_for_device(foot.device, today)),
            waits_for_visit(person, last_visit, today, open_lesions=any(foot.open for foot in feet)),
            waits_for_look(looks),
            waits_for_plan(drafts, flags_standing(limb_plan__limb__person=person)),
            waits_for_referral(person, (row for row in referrals if referral_state(row) in REFERRED)),
            waits_for_result(results),
            waits_for_course(courses),
            _reviews(person, feet, today),
        ),
    )


def _reviews(person: Person, feet: list[FootSummary], today: date) -> Iterator[Wait]:
    """Non-healing reviews that are due, and what earlier ones left to do (two queries)."""
    rows = [row for foot in feet for row in foot.open if row.lesion.state == LesionState.OPEN]
    last = last_reviews(row.lesion for row in rows)
    for row in rows:
        due = review_due_words(row.kind, last.get(row.lesion.pk), today)
        yield from waits_for_review(row.lesion, row.words, due)
    yield from waits_for_items(items_due(today, review__lesion__limb__person=person))
