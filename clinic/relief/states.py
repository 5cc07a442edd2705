"""The states of a relief plan and of an imprint, from the values of their rows."""

from __future__ import annotations

from datetime import date

from clinic.lifecycle.chart import Allows
from clinic.lifecycle.imprint import NONE, imprint_state_of
from clinic.lifecycle.plan import ASIDE
from clinic.models import Imprint, Lesion, LimbPlan
from clinic.record.dates import day_words
from clinic.record.lifecycle import allowed
from offload.models import ReliefPlan
from offload.plans.steps import stage_of

__all__ = ["imprint_on", "imprint_state", "limb_plan_allowed", "limb_plan_state", "plan_state"]


def plan_state(plan: ReliefPlan) -> str:
    """The stage that the relief program knows of."""
    return stage_of(plan)


def limb_plan_state(link: LimbPlan) -> str:
    return ASIDE if link.ended_on is not None else plan_state(link.plan)


def limb_plan_allowed(link: LimbPlan, event: str) -> Allows:
    day = day_words(link.ended_on) if link.ended_on else ""
    names = {"code": link.plan.code, "day": day, "because": link.ended_because}
    return allowed(
        "plan",
        limb_plan_state(link),
        event,
        number=link.plan.number,
        signed_by=link.plan.signed_by,
        **names,
    )


def imprint_on(lesion: Lesion, day: date) -> Imprint | None:
    """The newest imprint of an ulcer up to that day."""
    return lesion.imprints.filter(taken_on__lte=day).order_by("-taken_on", "-pk").first()


def imprint_state(imprint: Imprint | None) -> str:
    if imprint is None:
        return NONE
    newest = imprint.lesion.imprints.order_by("-taken_on", "-pk").values_list("pk", flat=True).first()
    return imprint_state_of(newer=newest != imprint.pk)
