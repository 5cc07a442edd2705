"""Events of relief plans and imprints."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from clinic.lesions.states import ulcer_state
from clinic.models import Imprint, Lesion, LimbPlan, Person, PlanFlag
from clinic.relief.reads.relief_record import LesionShape
from clinic.relief.states import imprint_state, limb_plan_state
from clinic.relief.writes import imprints, plan_life, relief, setting_aside, watch
from offload.core.shapes.lesion import Ellipse
from offload.plans.stage import standing_steps
from offload.plans.steps import plan_depth

from . import ulcers
from .world import World

WORDS = "What a test says."


# --- plans --------------------------------------------------------------------------------------------------
def plan(w: World, *stages: str) -> LimbPlan | None:
    some = LimbPlan.objects.select_related("limb__person__site", "limb__person__merged_into", "plan")
    if not w.focus and w.maybe(0.9):
        some = some.filter(limb__person__state="in_care", limb__person__restricted_on=None)
    if LimbPlan in w.focus:
        return some.get(pk=w.focus[LimbPlan])
    found = [one for one in some.order_by("-pk")[:10] if not stages or limb_plan_state(one) in stages]
    if stages and w.maybe(0.25):
        found = list(some.order_by("-pk")[:10])
    return w.random.choice(found) if found else None


def draft(w: World) -> None:
    one = ulcers.ulcer(w, "open")
    if one is None:
        return
    place = Ellipse((0.0, 180.0), 14.0, 10.0)
    w.meet(
        lambda: relief.plan_draft(
            by=w.by(one.limb.person, "podiatrist"),
            limb=one.limb,
            shapes=[LesionShape(one, "traced", place)],
            departure_reason=w.one("As agreed.", "As agreed with the team.", "By hand."),
        ),
        ("ulcer", ulcer_state(one), "plan"),
        of=one.limb.person,
        once=True,
        after={"ulcer": ulcers.state_after(one)},
    )


def _plan_event(w: World, event: str, row: LimbPlan, write: Any, *cells: Any, does: str = "correct") -> None:
    def after() -> str:
        return limb_plan_state(LimbPlan.objects.select_related("plan").get(pk=row.pk))

    w.meet(
        write,
        ("plan", limb_plan_state(row), event),
        *cells,
        of=row.limb.person,
        does=does,
        after={"plan": after} if not cells else None,
    )


def sign_plan(w: World) -> None:
    if row := plan(w, "draft"):
        by, old = w.by(row.limb.person, "podiatrist"), row.plan.replaces
        cells = []
        if old and row.plan.state == "draft":
            link = LimbPlan.objects.select_related("plan").get(plan=old)
            cells = [("plan", limb_plan_state(link), "replace")]
        _plan_event(
            w,
            "sign",
            row,
            lambda: relief.plan_sign(
                by=by,
                limb_plan=row,
                expected_version=row.plan.version,
                departure_reason=WORDS,
                shut_reason=WORDS,
            ),
            *cells,
        )


def _told(row: LimbPlan) -> dict[str, Any]:
    return {"code": row.plan.code, "side": row.plan.side}


def cut(w: World) -> None:
    if row := plan(w, "signed", "touches", "unreadable"):
        depth = Decimal(w.one(6, 12, 3)) if w.maybe(0.4) else plan_depth(row.plan)
        _plan_event(
            w,
            "cut",
            row,
            lambda: plan_life.plan_cut(
                by=w.by(row.limb.person),
                limb_plan=row,
                **_told(row),
                bar_mm=Decimal(100),
                depth_mm=depth,
                done_on=w.today,
            ),
        )


def put_in(w: World) -> None:
    if row := plan(w, "cut", "touches", "unreadable"):
        _plan_event(
            w,
            "fit",
            row,
            lambda: plan_life.plan_fit(
                by=w.by(row.limb.person), limb_plan=row, **_told(row), done_on=w.today
            ),
        )


def check(w: World) -> None:
    if row := plan(w, "fitted", "touches", "checked", "unreadable"):
        found = "touched" if w.maybe(0.3) else "unreadable" if w.maybe(0.2) else "clean"
        label = row.plan.spec["lesions"][0]["label"]
        _plan_event(
            w,
            "check",
            row,
            lambda: plan_life.plan_check_contact(
                by=w.by(row.limb.person),
                limb_plan=row,
                found=found,
                method="film" if w.maybe(0.5) else "marker",
                dummy_marked=found != "unreadable",
                where=[f"{label}:base"] if found == "touched" else [],
                done_on=w.today,
                note="The floor was ground deeper." if w.maybe(0.7) else "",
            ),
        )


def undo_step(w: World) -> None:
    if row := plan(w, "cut", "fitted", "checked", "touches", "unreadable", "signed"):
        stands = standing_steps(row.plan)
        step = stands[-1] if stands else row.plan.steps.last()
        if step is None:
            return
        _plan_event(
            w,
            "undo",
            row,
            lambda: plan_life.plan_step_take_back(
                by=w.by(row.limb.person), limb_plan=row, step=step, reason=WORDS
            ),
        )


def set_aside(w: World) -> None:
    if row := plan(w):
        _plan_event(
            w,
            "set_aside",
            row,
            lambda: setting_aside.plan_set_aside(
                by=w.by(row.limb.person), limb_plan=row, ended_on=w.today, because=WORDS, carried=w.maybe(0.5)
            ),
        )


def whole_plan(w: World) -> None:
    """From the draft to a clean check, the way it is meant."""
    if not plan(w, "draft"):
        draft(w)
    for step in (sign_plan, cut, put_in, check):
        step(w)


def measure(w: World) -> None:
    if row := plan(w):
        label = row.plan.spec["lesions"][0]["label"]
        _plan_event(
            w,
            "measure",
            row,
            lambda: plan_life.plan_measure(
                by=w.by(row.limb.person),
                limb_plan=row,
                label=label,
                measured_on=w.today,
                without_kpa=300.0,
                with_kpa=120.0,
                target_kind="peak",
                target=150.0,
            ),
        )


def answer_plan_flag(w: World) -> None:
    if row := w.pick(PlanFlag.objects.filter(answer="")):
        person = Person.objects.select_related("site", "merged_into").get(pk=row.limb_plan.limb.person_id)
        w.meet(
            lambda: watch.plan_flag_answer(
                by=w.by(person, "podiatrist"), flag=row, answer=WORDS, expected_version=row.version
            ),
            of=person,
            does="correct",
        )


def take_imprint(w: World) -> None:
    if (one := ulcers.ulcer(w, "open")) is None:
        return
    last = w.pick(one.imprints.all())
    size = w.one(10, 12, 14, 16)
    w.meet(
        lambda: imprints.imprint_typed(
            by=w.by(one.limb.person),
            lesion=one,
            taken_on=w.day(),
            centre=(0.0, float(w.one(170, 175, 180))),
            length_mm=float(size),
            width_mm=10.0,
            side_confirmed=True,
        ),
        ("ulcer", ulcer_state(one), "imprint"),
        ("imprint", imprint_state(last), "take"),
        of=one.limb.person,
        once=True,
        after={"imprint": lambda: imprint_state(Imprint.objects.get(pk=last.pk) if last else _newest(one))},
    )


def _newest(one: Lesion) -> Imprint | None:
    return one.imprints.order_by("-taken_on", "-pk").first()
