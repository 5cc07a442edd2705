"""What asks for a look at a signed plan, on a day: the weight, or the wound of another size or place."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone

from clinic.models import Lesion, LimbPlan, Measurement, VisitState
from clinic.record.dates import day_words
from offload.plans.stored import share_outside

__all__ = ["CHANGED", "outline_ground", "weight_ground"]

#: A weight this far on the other side of the threshold counts at once, a smaller step when it is read twice
#: [kg].
CLEARLY_BEYOND = 2.0
#: Share by which a wound has grown since its plan was signed, or of its new imprint that lies outside the
#: planned outline, that asks for a look at the plan; design choice.
CHANGED = 0.25


def weight_ground(limb_plan: LimbPlan, until: date | None = None) -> str:
    """Words when the newest weights, up to a day, lie on the other side of the plan's threshold; else empty
    (one query).
    """
    result, planned = limb_plan.plan.result, limb_plan.plan.spec.get("body_weight_kg")
    if planned is None or "policy" not in result:
        return ""
    rows = limb_plan.limb.person.weights.newest_first()
    if until is not None:
        rows = rows.filter(measured_on__lte=until)
    weights = [float(kg) for kg in rows.values_list("kg", flat=True)[:2]]
    if not weights:
        return ""
    threshold = float(result["policy"]["weight_threshold"])
    above = float(planned) >= threshold
    beyond = [(kg >= threshold) != above for kg in weights]
    clear = beyond[0] and abs(weights[0] - threshold) >= CLEARLY_BEYOND
    if not clear and not (len(beyond) == 2 and all(beyond)):
        return ""
    return (
        f"Weight is now {weights[0]:g} kg; the plan was made for {float(planned):g} kg, on the "
        "other side of the "
        f"threshold of {threshold:g} kg, so the policy would cut another layer."
    )


def outline_ground(limb_plan: LimbPlan, lesion: Lesion, until: date | None = None) -> str:
    """Words when the wound has grown, or its imprint has left the planned outline, by a day; else empty."""
    signed = limb_plan.plan.signed_at
    if signed is None:
        return ""
    return _grown(lesion, signed, until) or _moved(limb_plan, lesion, signed, until)


def _grown(lesion: Lesion, signed: datetime, until: date | None) -> str:
    """Words when the wound is larger than at the signature by the set share; a smaller one lies over the
    cut as before.
    """
    areas = Measurement.objects.filter(
        lesion=lesion, visit__state=VisitState.STANDS, area_mm2__gt=0
    ).order_by("-visit__visited_on", "-pk")
    then = areas.filter(visit__visited_on__lte=timezone.localtime(signed).date()).first()
    now = (areas if until is None else areas.filter(visit__visited_on__lte=until)).first()
    if then is None or now is None or not then.area_mm2 or not now.area_mm2:
        return ""
    share = float(now.area_mm2) / float(then.area_mm2) - 1.0
    if share < CHANGED:
        return ""
    return (
        f"Ulcer {lesion.label} has grown by {100 * share:.0f} % since the plan was signed "
        f"({then.area_mm2 / 100:.2f} to "
        f"{now.area_mm2 / 100:.2f} cm²): take the imprint again."
    )


def _moved(limb_plan: LimbPlan, lesion: Lesion, signed: datetime, until: date | None) -> str:
    """Words when the newest imprint lies outside the outline of the plan by the set share of itself."""
    imprints = lesion.imprints.filter(created_at__gt=signed).order_by("-taken_on", "-pk")
    imprint = (imprints if until is None else imprints.filter(taken_on__lte=until)).first()
    if imprint is None:
        return ""
    share = share_outside(limb_plan.plan.spec, lesion.label, imprint.outline_mm)
    if share < CHANGED:
        return ""
    return (
        f"{100 * share:.0f} % of the imprint of {day_words(imprint.taken_on)} of ulcer {lesion.label} lie "
        "outside the outline the plan "
        "was made for: make a new version."
    )
