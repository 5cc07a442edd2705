"""All lesions of a person side by side: what the small multiples draw and the table beside them says."""

from __future__ import annotations

from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.curves.reads.lesions import lesions_of
from clinic.models import Person

__all__ = ["PANELS", "person_curves"]

#: As many panels as a sheet holds; older lesions are counted in words.
PANELS = 12


def person_curves(person: Person) -> list[LesionHealing]:
    """Measured lesions of a person, the newest first; a constant number of queries."""
    lesions = list(lesions_of(person).order_by("-first_seen_on", "-pk"))
    judged = healings_of(lesions)
    return [judged[lesion.pk] for lesion in lesions if judged[lesion.pk].areas]
