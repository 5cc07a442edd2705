"""The strip of standing dangers, the same on every page of a person: worst first, one sentence a danger."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils import timezone

from clinic.evidence.reads.raising import is_urgent
from clinic.evidence.reads.standing import LimbStanding, standing_of_many
from clinic.models import Limb, Person

register = template.Library()

IN_DOUBT = "perfusion_in_doubt"


@register.inclusion_tag("evidence/_strip.html")
def danger_strip(person: Person) -> dict[str, Any]:
    """What stands about both feet of a person today; nothing where nothing stands."""
    limbs = list(Limb.objects.filter(person=person).order_by("side"))
    for limb in limbs:
        limb.person = person
    feet = standing_of_many(limbs, timezone.localdate())
    shown = [feet[limb.pk] for limb in limbs if _speaks(feet[limb.pk])]
    return {
        "feet": [
            {
                "words": str(foot.limb),
                "pk": foot.limb.pk,
                "strip": foot.strip,
                "contradictions": foot.contradictions,
            }
            for foot in shown
        ],
        "urgent": any(is_urgent(danger) for foot in shown for danger in foot.dangers),
    }


def _speaks(foot: LimbStanding) -> bool:
    """Whether there is anything to say: a blood supply that nobody measured matters where an ulcer is."""
    return bool(foot.strip) and (bool(foot.lesions) or any(one.id != IN_DOUBT for one in foot.dangers))
