"""What is found at a wound of the month: it runs a course of the scenario and is read from a ruler."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from random import Random

from clinic.capture.writes.measurement import LesionFindings
from clinic.demo.course import COURSES, NOISE
from clinic.models import Lesion
from tests import feet

__all__ = ["look_at"]


def look_at(lesion: Lesion, day: date, random: Random) -> LesionFindings:
    """Length and width as somebody reads them, in whole mm."""
    wound = Random(f"{lesion.limb.person.record_number} {lesion.label}")
    course, length, share = wound.choice(sorted(COURSES)), wound.uniform(8, 30), wound.uniform(0.5, 1)
    now = COURSES[course]((day - lesion.first_seen_on).days / 7)
    read = [max(1, round(mm * now * random.gauss(1, NOISE))) for mm in (length, share * length)]
    return LesionFindings(
        lesion=lesion,
        length_mm=Decimal(max(read)),
        width_mm=Decimal(min(read)),
        debridement="after",
        **feet.TOLD,
    )
