"""Points that a case has come to when a sequence begins."""

from __future__ import annotations

from clinic.devices.states import device_state
from clinic.models import Lesion, LimbPlan, Prescription
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import person_merge
from clinic.relief.states import plan_state

from . import devices, ulcers
from .tour import Tour

__all__ = ["SCENES"]


def _looked_at(tour: Tour) -> Lesion:
    tour.somebody(1)
    person = tour.somebody()
    one = tour.ulcer(person)
    tour.examined(person, one)
    return one


def looked_at(tour: Tour) -> None:
    """An ulcer, and a foot at which everything was asked."""
    _looked_at(tour)


def sealed(tour: Tour) -> None:
    """A device that stays on, sealed today."""
    one = _looked_at(tour)
    row = tour.device(one, "chosen", kind="total_contact_cast")

    def closed() -> bool:
        return device_state(Prescription.objects.get(pk=row.pk)) == "sealed"

    tour.until(devices.seal_whole, closed, row=row)


def checked(tour: Tour) -> None:
    """A walker that stays on, with a plan cut, fitted and checked clean."""
    one = _looked_at(tour)
    tour.device(one, "chosen")
    mine = LimbPlan.objects.filter(limb=one.limb_id).select_related("plan")
    plan = tour.until(devices.draft, mine.first, lesion=one)
    for event, stage in (
        (devices.sign_plan, "signed"),
        (devices.cut, "cut"),
        (devices.put_in, "fitted"),
        (devices.check, "checked"),
    ):
        tour.until(event, lambda s=stage: plan_state(mine.get(pk=plan.pk).plan) == s, plan=plan)


def healed(tour: Tour) -> None:
    """Covered at two visits, and confirmed."""
    one = _looked_at(tour)
    tour.w.later(1)
    for event, state in ((ulcers.close, "to_confirm"), (ulcers.confirm, "healed")):
        tour.visit(one.limb.person, covered=True)
        tour.until(event, lambda s=state: Lesion.objects.get(pk=one.pk).state == s, lesion=one)
        tour.w.later(14)


def merged(tour: Tour) -> None:
    """One person under two numbers, put together."""
    kept, emptied = tour.somebody(), tour.somebody()
    mark = merge_preview(kept, emptied).mark
    by = tour.w.by(kept, "manager")
    person_merge(by=by, kept=kept, emptied=emptied, because="One person.", mark=mark)


SCENES = (looked_at, sealed, checked, healed, merged)
