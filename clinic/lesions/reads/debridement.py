"""May this ulcer be debrided with a blade?"""

from __future__ import annotations

from datetime import date

from clinic.evidence.reads.facts import facts_of_limb
from clinic.guidelines.debridement import sharp_withheld
from clinic.models import Lesion

__all__ = ["no_sharp_debridement"]


def no_sharp_debridement(lesion: Lesion, day: date) -> str:
    """Why no sharp debridement on a day, or nothing; from the same facts as the choice of device."""
    own = [one.facts for one in facts_of_limb(lesion.limb, day, {}) if one.lesion.pk == lesion.pk]
    return sharp_withheld(own[0].ischaemia_grade, own[0].infection_grade) if own else ""
