"""Do the record and the house rules of today still say what a draft was drawn with?"""

from __future__ import annotations

from dataclasses import replace

from clinic.models import LimbPlan
from clinic.record.dates import day_words
from clinic.relief.reads.layers import stack_now
from clinic.relief.reads.relief_record import CutChoice, LimbRecord, margin_departures
from clinic.rules.reads.foams import own_foams
from offload.core.plan.stages import refusal
from offload.plans.keeping import policy_of
from offload.plans.steps import stage_of

__all__ = ["changed_since", "outdated"]


def outdated(record: LimbRecord, limb_plan: LimbPlan) -> list[str]:
    """What is otherwise now than when a draft was drawn, in sentences."""
    spec, limb = limb_plan.plan.spec, record.limb
    found = []
    other, replaced = record.in_force, limb_plan.plan.replaces
    if replaced is not None and (
        gone := refusal(stage_of(replaced), "replace", code=replaced.code, number=replaced.number)
    ):
        found.append(gone)
    elif other is not None and other.pk not in (limb_plan.plan_id, limb_plan.plan.replaces_id):
        found.append(
            f"Plan {other.code} v{other.number} of this foot was signed after this plan was drawn and is in "
            "force: start a new version, which replaces it, or set one of them aside."
        )
    now = {
        "body_weight_kg": float(record.weight.kg) if record.weight else None,
        "foot_length_mm": float(limb.foot_length_mm) if limb.foot_length_mm is not None else None,
        "foot_width_mm": float(limb.foot_breadth_mm) if limb.foot_breadth_mm is not None else None,
    }
    for name, value in now.items():
        if spec.get(name) != value:
            what, unit = name.rsplit("_", 1)
            words = "nothing" if value is None else f"{value:g} {unit}"
            was = "nothing" if spec.get(name) is None else f"{spec[name]:g} {unit}"
            found.append(
                f"The {what.replace('_', ' ')} on record is now {words}, and this plan was computed for "
                f"{was}: start a new version from it."
            )
    own = [] if record.outline is None else record.outline.outline_mm
    if (spec.get("insole_outline_mm") or []) != own:
        found.append(
            "The outline of this insole is another now than when this plan was drawn: start a new version "
            "from it."
        )
    changed = changed_since(record, limb_plan)
    if changed:
        found.append(
            f"The house rules changed since this plan was drawn. {' '.join(changed)} Start a new version "
            "from it."
        )
    measured = limb_plan.measured_map
    if measured is not None and measured not in record.maps:
        found.append(
            f"The measured map of {day_words(measured.measured_on)}, from which this plan's pressures start, "
            "was withdrawn: start a new version from it."
        )
    closed = [lesion.label for lesion in limb_plan.lesions.all() if not lesion.is_open]
    if closed:
        found.append(f"Ulcer {', '.join(closed)} is no longer open: start a new version without it.")
    return found


def changed_since(record: LimbRecord, limb_plan: LimbPlan) -> list[str]:
    """What the clinic's rules and foams say otherwise than when the plan was drawn, in sentences."""
    plan = limb_plan.plan
    then, now = policy_of(plan), record.policy
    found = []
    if then.weight_threshold != now.weight_threshold:
        found.append(
            f"The weight threshold is now {now.weight_threshold:g} kg; this plan was drawn at "
            f"{then.weight_threshold:g} kg."
        )
    if replace(then, weight_age=now.weight_age, weight_threshold=now.weight_threshold) != now:
        found.append("Limits of the cut are others now than when this plan was drawn.")
    spec = plan.spec
    cut = CutChoice(spec["margin_mm"], spec["distal_margin_mm"], spec["bevel_deg"])
    found += [
        sentence
        for sentence in margin_departures(record.house_choice, cut)
        if sentence not in plan.result["departures"]
    ]
    found += stack_now(record.limb.person.site.stack, spec, plan.result["departures"])
    return found + _foams(record, limb_plan)


def _foams(record: LimbRecord, limb_plan: LimbPlan) -> list[str]:
    """Foams of the plan that the clinic has given up; a foam that is measured anew is a new one."""
    stack = limb_plan.plan.spec.get("stack") or ()
    used = {one["foam"] for layer in stack for one in (layer, *layer.get("inlays", ()))}
    retired = [link.foam for link in own_foams(record.limb.person.site) if link.foam.retired_at is not None]
    return [f"The foam {foam.label} is no longer in use here." for foam in retired if foam.key in used]
