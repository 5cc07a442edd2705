"""What is done and waited for around one ulcer: tests, antibiotics, the bone, the non-healing review."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.alerts.reads.antibiotics import CourseRow, courses_of_lesions
from clinic.alerts.reads.results import ResultRow, results_of
from clinic.curves.reads.healing import LesionHealing
from clinic.evidence.reads.bone_standing import BoneStanding, bone_standing
from clinic.evidence.reads.standing import LimbStanding
from clinic.guidelines.failed_care import CareStanding
from clinic.lesions.reads.non_healing import (
    ItemRow,
    care_of,
    items_due,
    review_due_words,
    reviews_of,
    verdict_words,
)
from clinic.models import BoneJudgement, Lesion, LesionState, NonHealingReview

__all__ = ["LesionCare", "lesion_care"]


@dataclass(frozen=True)
class LesionCare:
    """The sections of the ulcer page that wait for somebody."""

    results: tuple[ResultRow, ...]
    courses: tuple[CourseRow, ...]
    bone: BoneStanding
    judgements: Sequence[BoneJudgement]
    reviews: Sequence[NonHealingReview]
    items: Sequence[ItemRow]
    review_due: str
    verdict: str
    standing: CareStanding


def lesion_care(lesion: Lesion, healing: LesionHealing, foot: LimbStanding) -> LesionCare:
    """What stands around an ulcer today (a fixed number of queries)."""
    today = foot.day
    reviews = reviews_of(lesion)
    last = reviews[0].opened_on if reviews else None
    is_open = lesion.state == LesionState.OPEN
    return LesionCare(
        results=results_of(today, lesion=lesion),
        courses=courses_of_lesions(today, lesion=lesion),
        bone=bone_standing(lesion, foot),
        judgements=list(lesion.bone_judgements.select_related("created_by")),
        reviews=reviews,
        items=items_due(today, review__lesion=lesion),
        review_due=review_due_words(healing.kind, last, today) if is_open else "",
        verdict=verdict_words(healing, today) if is_open else healing.words,
        standing=care_of([lesion], today, {lesion.pk: healing})[lesion.pk],
    )
