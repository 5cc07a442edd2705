"""What healed it before: the earlier lesions of a limb, with what was on when they closed and what had
failed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.models import Lesion, LesionState, LimbPlan, Prescription, StopReason

__all__ = ["HealedBefore", "healed_before"]

#: A month of remission. [d]
MONTH_DAYS = 30.44


@dataclass(frozen=True)
class HealedBefore:
    """One healed lesion of the same limb."""

    lesion: Lesion
    same_place: bool
    device: Prescription | None
    plan: LimbPlan | None
    weeks: float
    failed: tuple[Prescription, ...]
    months: float

    @property
    def footwear(self) -> str:
        return self.lesion.footwear


def healed_before(lesion: Lesion) -> tuple[HealedBefore, ...]:
    """Healed lesions of this limb that closed before this one began, the same place first (three queries)."""
    past = [
        one
        for one in Lesion.objects.filter(limb=lesion.limb_id, state=LesionState.HEALED)
        .exclude(pk=lesion.pk)
        .select_related("limb")
        .order_by("-closed_on", "-pk")
        if one.closed_on and one.closed_on <= lesion.first_seen_on
    ]
    if not past:
        return ()
    devices: dict[int, list[Prescription]] = {one.pk: [] for one in past}
    for device in (
        Prescription.objects.filter(lesions__in=past)
        .defer("facts", "advice", "forecast_shown", "content")
        .prefetch_related("lesions")
        .order_by("prescribed_on", "pk")
        .distinct()
    ):
        for served in device.lesions.all():
            if served.pk in devices:
                devices[served.pk].append(device)
    plans: dict[int, LimbPlan] = {}
    links = LimbPlan.objects.filter(lesions__in=past, plan__signed_at__isnull=False).distinct()
    for link in links.select_related("plan").defer("plan__result").prefetch_related("lesions").order_by("pk"):
        for served in link.lesions.all():
            plans[served.pk] = link
    episodes = [_told(one, lesion, devices[one.pk], plans.get(one.pk)) for one in past]
    return tuple(sorted(episodes, key=lambda one: not one.same_place))


def _told(one: Lesion, now: Lesion, devices: list[Prescription], plan: LimbPlan | None) -> HealedBefore:
    closed_on = one.closed_on or one.first_seen_on
    healing = _on_at(devices, closed_on)
    return HealedBefore(
        lesion=one,
        same_place=one.pk == now.recurs_of_id or one.place == now.place,
        device=healing,
        plan=plan,
        weeks=(closed_on - one.first_seen_on).days / 7,
        failed=tuple(
            device
            for device in devices
            if device is not healing and device.stopped_on and device.stop_reason != StopReason.HEALED
        ),
        months=(now.onset_on - (one.confirmed_on or closed_on)).days / MONTH_DAYS,
    )


def _on_at(devices: list[Prescription], day: date) -> Prescription | None:
    """The device that was on when it closed: fitted by then, not stopped before."""
    on = [
        device
        for device in devices
        if device.fitted_on
        and device.fitted_on <= day
        and (not device.stopped_on or device.stopped_on >= day)
    ]
    return on[-1] if on else None
