"""The strip of standing dangers, the same on every page of a person: worst first, one sentence a danger."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils import timezone

from clinic.evidence.reads.raising import is_urgent
from clinic.evidence.reads.standing import LimbStanding, feet_standing
from clinic.models import Person

register = template.Library()

IN_DOUBT = "perfusion_in_doubt"


@register.inclusion_tag("evidence/_strip.html")
def danger_strip(person: Person, feet: Mapping[int, LimbStanding] | None = None) -> dict[str, Any]:
    """What stands about both feet of a person today; nothing where nothing stands.

    A page that has read what stands (`feet_standing`) hands it over as `feet`; any other leaves it out.
    """
    found = feet or feet_standing(person, timezone.localdate())
    shown = [foot for foot in found.values() if _speaks(foot)]
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
