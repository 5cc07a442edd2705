"""Do the house rules of today still say what a draft was drawn with?"""

from __future__ import annotations

from dataclasses import replace

from clinic.models import LimbPlan
from clinic.relief.reads.relief_record import CutChoice, LimbRecord, margin_departures
from clinic.rules.reads.foams import own_foams
from offload.plans.keeping import policy_of

__all__ = ["changed_since"]


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
    return found + _foams(record, limb_plan)


def _foams(record: LimbRecord, limb_plan: LimbPlan) -> list[str]:
    """Foams of the plan that the clinic has given up; a foam that is measured anew is a new one."""
    used = {layer["foam"] for layer in limb_plan.plan.spec.get("stack") or ()}
    retired = [link.foam for link in own_foams(record.limb.person.site) if link.foam.retired_at is not None]
    return [f"The foam {foam.label} is no longer in use here." for foam in retired if foam.key in used]
