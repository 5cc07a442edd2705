"""The least that a test of results and reviews needs: one valid row each, any field by keyword."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from clinic.models import (
    AntibioticCourse,
    BoneJudgement,
    Contact,
    Lesion,
    Measurement,
    NonHealingItem,
    NonHealingReview,
    NonHealingTopic,
    Person,
    Result,
)
from tests.factories import author, measurement, visit


def contact(*, of: Person, **fields: Any) -> Contact:
    words = {"tried_at": timezone.now(), "how": "letter", "result": "reached"}
    return Contact.objects.create(person=of, created_by=author(), **{**words, **fields})


def result(*, of: Person, **fields: Any) -> Result:
    """A test requested a week ago and due today."""
    today = timezone.localdate()
    return Result.objects.create(
        **{
            "person": of,
            "kind": "crp",
            "requested_on": today - timedelta(days=7),
            "due_on": today,
            "owner": author(),
            "created_by": author(),
            **fields,
        }
    )


def antibiotic(*, of: Lesion, **fields: Any) -> AntibioticCourse:
    """A course of a week that ends today."""
    today = timezone.localdate()
    return AntibioticCourse.objects.create(
        **{
            "lesion": of,
            "drug": "Test antibiotic",
            "dose": "500 mg three times a day",
            "route": "oral",
            "started_on": today - timedelta(days=7),
            "planned_end_on": today,
            "decided_by": "the infection team",
            "why": "mild infection",
            "created_by": author(),
            **fields,
        }
    )


def bone(*, of: Lesion, state: str = "no", **fields: Any) -> BoneJudgement:
    """A judgement of today, with a probe against it."""
    parts = dict.fromkeys(("xray", "blood", "mri", "sample"), "not_done")
    return BoneJudgement.objects.create(
        **{
            "lesion": of,
            "judged_on": timezone.localdate(),
            "probe": "against",
            **parts,
            "state": state,
            "created_by": author(),
            **fields,
        }
    )


def non_healing(*, of: Lesion, due: dict[str, date] | None = None, **fields: Any) -> NonHealingReview:
    """A review opened today, its items done but those that are due on the days given."""
    made = NonHealingReview.objects.create(
        **{
            "lesion": of,
            "opened_on": timezone.localdate(),
            "verdict": "stalled",
            "created_by": author(),
            **fields,
        }
    )
    for topic in NonHealingTopic.values:
        day = (due or {}).get(topic)
        own = {"state": "due", "owner": author(), "due_on": day} if day else {"state": "done"}
        NonHealingItem.objects.create(review=made, topic=topic, words="test", created_by=author(), **own)
    return made


def found_covered(lesion: Lesion, day: date) -> Measurement:
    """A visit that found the ulcer covered and dry."""
    return measurement(at=visit(of=lesion.limb.person, on=day), of=lesion, cm2=0, covered_dry=True)
