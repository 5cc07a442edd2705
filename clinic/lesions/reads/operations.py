"""Which operations can be discussed for an ulcer on what the record knows today."""

from __future__ import annotations

from datetime import date

from clinic.evidence.reads.facts import facts_of_limb
from clinic.guidelines.surgery import SurgeryTalk, surgery_talk
from clinic.models import Lesion

__all__ = ["surgery_of"]


def surgery_of(lesion: Lesion, today: date) -> SurgeryTalk:
    """The operations by site, from the same facts as the choice of device; those of a closed ulcer are not
    known (ten queries or so).
    """
    facts = next(
        (one.facts for one in facts_of_limb(lesion.limb, today, {}) if one.lesion.pk == lesion.pk), None
    )
    site = lesion.foot_site
    return surgery_talk(
        site.region,
        site.surface,
        ischaemia_grade=facts.ischaemia_grade if facts else None,
        infection_grade=facts.infection_grade if facts else None,
        bone_infected=facts.osteomyelitis if facts else None,
        flexible_toe=facts.flexible_toe_deformity if facts else None,
        active_charcot=facts.active_charcot if facts else None,
    )
