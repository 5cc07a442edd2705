"""Rows about the insole of a foot."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from clinic.models import InsoleOutline, Limb
from clinic.people.reads.limbs import drawn_insole
from tests import factories


def insole_outline(*, of: Limb | None = None, longer: float = 12.0, **fields: Any) -> InsoleOutline:
    """The outline of an insole of the drawn shape, so much longer than it is drawn for the foot [mm]."""
    foot = of or factories.limb()
    drawn = drawn_insole(foot)
    assert drawn is not None
    share = 1.0 + longer / drawn.outline.bounds[3]
    return InsoleOutline.objects.create(
        **{
            "limb": foot,
            "taken_on": timezone.localdate(),
            "how": "grid",
            "outline_mm": [[round(x, 1), round(y * share, 1)] for x, y in drawn.outline.exterior],
            "length_mm": round(drawn.outline.bounds[3] * share, 1),
            "created_by": factories.author(),
            **fields,
        }
    )
