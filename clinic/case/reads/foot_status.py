"""One foot on one page, for a team that meets about it: what stands, each ulcer, device, plan, what waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.case.reads.person_page import FootSummary, PersonPage, person_page
from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.evidence.reads.grades import GradeRow, grades_of
from clinic.evidence.reads.standing import LimbStanding
from clinic.models import Limb, LimbPlan

__all__ = ["FootStatus", "UlcerStatus", "foot_status"]


@dataclass(frozen=True)
class UlcerStatus:
    """One open ulcer of the foot."""

    healing: LesionHealing
    grades: Sequence[GradeRow]
    plan: LimbPlan | None


@dataclass(frozen=True)
class FootStatus:
    """What a team needs to know of one foot on a day."""

    limb: Limb
    day: date
    foot: FootSummary
    person: PersonPage
    standing: LimbStanding
    ulcers: Sequence[UlcerStatus]


def foot_status(limb: Limb, standing: LimbStanding) -> FootStatus:
    """The status of a foot; the number of queries does not grow with its ulcers."""
    day = standing.day
    page = person_page(limb.person, today=day)
    foot = next(one for one in page.feet if one.limb.pk == limb.pk)
    lesions = [row.lesion for row in foot.open]
    judged, grades = healings_of(lesions), grades_of(foot.limb, lesions, day, standing)
    plans = _plans(limb)
    return FootStatus(
        limb=limb,
        day=day,
        foot=foot,
        person=page,
        standing=standing,
        ulcers=[UlcerStatus(judged[one.pk], grades[one.pk], plans.get(one.pk)) for one in lesions],
    )


def _plans(limb: Limb) -> dict[int, LimbPlan]:
    """By ulcer, the plan in force."""
    links = (
        LimbPlan.objects.filter(limb=limb, ended_on=None, plan__state="signed")
        .select_related("plan")
        .defer("plan__result", "plan__spec")
        .prefetch_related("lesions")
        .order_by("pk")
    )
    return {lesion.pk: link for link in links for lesion in link.lesions.all()}
