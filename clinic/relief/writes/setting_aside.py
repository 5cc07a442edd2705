"""Setting a relief plan aside: the foot it was for is no longer treated by it, and nothing is cut from it."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.models import LimbPlan, User
from clinic.record.errors import words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.states import limb_plan_allowed

__all__ = ["plan_set_aside"]


@transaction.atomic
def plan_set_aside(*, by: User, limb_plan: LimbPlan, ended_on: date, because: str) -> LimbPlan:
    """Take a draft or a signed plan out of use; its sheet and its steps stay readable."""
    because = words_needed(because, "because")
    limb_plan_allowed(limb_plan, "set_aside")
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
