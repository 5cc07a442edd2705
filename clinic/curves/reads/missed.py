"""Days on which a person was expected and did not come: marks on the curve."""

from __future__ import annotations

from datetime import date

from clinic.models import Attendance, Lesion, Visit, VisitState

__all__ = ["missed_days"]


def missed_days(lesion: Lesion) -> list[date]:
    """Days on which this person was expected and did not come, while the lesion was open."""
    return list(
        Visit.objects.filter(
            person=lesion.limb.person_id,
            attendance=Attendance.DID_NOT_COME,
            state=VisitState.STANDS,
            visited_on__gte=lesion.first_seen_on,
        )
        .order_by("visited_on")
        .values_list("visited_on", flat=True)
    )
