"""Setting a relief plan aside: the foot it was for is no longer treated by it, and nothing is cut from it."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.models import LimbPlan, Prescription, User
from clinic.record.errors import Refused, Way, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.states import limb_plan_allowed

__all__ = ["plan_set_aside"]


@transaction.atomic
def plan_set_aside(
    *, by: User, limb_plan: LimbPlan, ended_on: date, because: str, carried: bool = True
) -> LimbPlan:
    """Take a draft or a signed plan out of use; its sheet and its steps stay readable. `carried`: also while
    a running device carries it, because that device is settled with it.
    """
    because = words_needed(because, "because")
    limb_plan_allowed(limb_plan, "set_aside")
    if ended_on > timezone.localdate():
        raise Refused(f"On: {ended_on:%-d %b %Y} lies in the future.", field="ended_on")
    device = (
        None if carried else Prescription.objects.filter(relief_plan=limb_plan.plan, stopped_on=None).first()
    )
    if device is not None:
        raise Refused(
            f"{device} carries this plan: sign the plan that replaces it, or stop the device first.",
            way=Way("prescription", device.pk, "Look at the device"),
        )
    limb_plan.ended_on, limb_plan.ended_because = ended_on, because
    store(limb_plan, by=by, why="set aside")
    person = limb_plan.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="set aside",
        target=limb_plan,
        person=person,
        code=limb_plan.plan.code,
        because=because,
    )
    return limb_plan
