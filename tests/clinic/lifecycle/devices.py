"""Events of devices, opening cards, relief plans and imprints."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from clinic.demo.devices import _by_the_list
from clinic.devices.reads.advice import limb_decision
from clinic.devices.states import card_for, card_state, device_state
from clinic.devices.writes import leaving, opening_cards, overriding, prescriptions, wear, wear_back
from clinic.guidelines.bone import BoneParts
from clinic.lesions.writes.bone import bone_judge
from clinic.models import LimbPlan, OpeningCard, Person, Prescription
from clinic.record.errors import Refused
from clinic.relief.states import imprint_on, imprint_state, limb_plan_state

from . import ulcers
from .plans import (
    answer_plan_flag,
    check,
    cut,
    draft,
    measure,
    put_in,
    set_aside,
    sign_plan,
    take_imprint,
    undo_step,
    whole_plan,
)
from .world import World

WORDS = "What a test says."
CLASSES = (
    "total_contact_cast",
    "walker_non_removable",
    "walker_non_removable",
    "walker_knee_high_removable",
)


def device(w: World, *states: str) -> Prescription | None:
    some = Prescription.objects.select_related("limb__person__site", "limb__person__merged_into")
    if not w.focus and w.maybe(0.9):
        some = some.filter(limb__person__state="in_care", limb__person__restricted_on=None)
    if states and not w.focus and w.maybe(0.75):
        some = some.filter(stopped_on=None)
        found = [one for one in some.order_by("-pk")[:12] if device_state(one) in states]
        return w.random.choice(found) if found else None
    row: Prescription | None = w.pick_beside(some)
    return row


def _after(row: Prescription) -> dict[str, Any]:
    return {"device": lambda: device_state(Prescription.objects.get(pk=row.pk))}


def prescribe(w: World) -> None:
    one = ulcers.ulcer(w, "open", "to_confirm")
    if one is None:
        return
    limb, person = one.limb, one.limb.person
    by = w.by(person, "podiatrist")
    over = w.maybe(0.3)
    chosen = w.one(*CLASSES)

    def sign() -> Any:
        for each in limb.lesions.filter(state__in=["open", "to_confirm"]):
            if not over and not each.bone_judgements.exists():
                bone_judge(
                    by=by, lesion=each, judged_on=w.today, parts=BoneParts(probe="against"), state="no"
                )
        answers = {"needs_frequent_dressing": False, "device_available": True, "over_weight_limit": False}
        decision = limb_decision(limb, w.today, answers)
        if decision is None:
            raise Refused("No open ulcer on this foot.")
        first = chosen in decision.first_offered
        return prescriptions.prescription_sign(
            by=by,
            limb=limb,
            lesions=[row.lesion for row in decision.facts],
            decision=decision,
            seen_digest=decision.digest,
            device_class=chosen,
            reason=WORDS,
            departure_reason="" if first else "finding_not_in_rules",
            prescribed_on=w.today,
            stop_reason="changed",
            carry_plan=w.maybe(0.2) and limb.prescriptions.filter(stopped_on=None).exists(),
        )

    w.meet(sign, of=person)


def _sign_second(w: World, event: str) -> None:
    row = device(w, "unconfirmed" if event == "confirm" else "unsigned")
    if row is None:
        return
    by = w.by(row.limb.person, "podiatrist")
    write = {
        "countersign": lambda: prescriptions.prescription_second(
            by=by, prescription=row, expected_version=row.version
        ),
        "telephone": lambda: overriding.override_telephone(
            by=by,
            prescription=row,
            second_name="Dr Some Body",
            second_role="on call",
            second_telephone="000 1",
            spoken_at=World.now,
            expected_version=row.version,
        ),
        "confirm": lambda: overriding.override_confirm(
            by=by, prescription=row, second_confirmed_how="letter", expected_version=row.version
        ),
    }[event]
    w.meet(write, ("device", device_state(row), event), of=row.limb.person, does="correct", after=_after(row))


def countersign(w: World) -> None:
    _sign_second(w, "countersign")


def telephone(w: World) -> None:
    _sign_second(w, "telephone")


def confirm_second(w: World) -> None:
    _sign_second(w, "confirm")


# --- cards and sealing --------------------------------------------------------------------------------------
def make_card(w: World, row: Prescription | None = None, days: int = 7) -> Any:
    row = row or device(w)
    if row is None:
        return None
    return w.meet(
        lambda: opening_cards.card_make(
            by=w.by(row.limb.person),
            prescription=row,
            sealed_on=w.today,
            open_by=w.today + timedelta(days=days),
        ),
        ("device", device_state(row), "card"),
        of=row.limb.person,
        after=_after(row),
    )


def give_card(w: World, card: OpeningCard | None = None) -> None:
    card = card or w.pick(OpeningCard.objects.all())
    if card is None:
        return
    person = Person.objects.select_related("site", "merged_into").get(pk=card.prescription.limb.person_id)
    w.meet(
        lambda: opening_cards.card_hand_over(by=w.by(person), card=card),
        ("opening card", card_state(card), "hand_over"),
        of=person,
        does="correct",
        after={"opening card": lambda: card_state(OpeningCard.objects.get(pk=card.pk))},
    )


def _fit(w: World, row: Prescription, sealed: bool, days: int = 7) -> None:
    found = replace(_by_the_list(row, w.today), review_on=w.today + timedelta(days=min(days, 7)))
    cells: list[Any] = [("device", device_state(row), "seal" if sealed else "fit")]
    after = _after(row)
    if sealed:
        cells.append(("opening card", card_state(card_for(row, w.today)), "seal"))
        if row.relief_plan is not None and row.takes_insole and row.is_non_removable:
            link = LimbPlan.objects.select_related("plan").get(plan=row.relief_plan)
            cells.append(("plan", limb_plan_state(link), "seal"))
            cells += [
                ("imprint", imprint_state(imprint_on(one, w.today)), "seal") for one in link.lesions.all()
            ]
    w.meet(
        lambda: wear.prescription_fit(
            by=w.by(row.limb.person),
            prescription=row,
            fitted_on=w.today,
            sealed=sealed,
            open_by=w.today + timedelta(days=days) if sealed else None,
            expected_version=row.version,
            found=found,
        ),
        *cells,
        of=row.limb.person,
        after=after,
    )


def fit(w: World) -> None:
    if row := device(w, "chosen", "unconfirmed"):
        _fit(w, row, sealed=False)


def seal(w: World) -> None:
    if row := device(w, "chosen", "opened", "worn"):
        _fit(w, row, sealed=True)


def seal_whole(w: World) -> None:
    """The way it is meant: visit and look, card made and given, then sealed."""
    row = device(w, "chosen", "opened", "worn")
    if row is None or not row.is_non_removable:
        return
    w.focus = {}
    if row.limb.person.red_flags.filter(answer="").exists():
        ulcers.answer_flag(w)
    ulcers.visit(w, row.limb.person, covered=False, next_on=w.today + timedelta(days=7), red_flags=())
    days = w.one(3, 5, 7)
    row = Prescription.objects.select_related("limb__person__site").get(pk=row.pk)
    if (card := make_card(w, row, days)) is not None:
        give_card(w, card)
    _fit(w, row, sealed=True, days=days)


def open_device(w: World) -> None:
    if row := device(w, "sealed"):
        w.meet(
            lambda: wear.prescription_open(
                by=w.by(row.limb.person), prescription=row, opened_on=w.day(), expected_version=row.version
            ),
            ("device", device_state(row), "open"),
            of=row.limb.person,
            does="correct",
            after=_after(row),
        )


def _back(w: World, event: str, row: Prescription, write: Any) -> None:
    w.meet(write, ("device", device_state(row), event), of=row.limb.person, does="correct", after=_after(row))


def unopen(w: World) -> None:
    if row := device(w, "opened"):
        by, at = w.by(row.limb.person), row.version
        _back(
            w,
            "unopen",
            row,
            lambda: wear_back.opening_take_back(by=by, prescription=row, reason=WORDS, expected_version=at),
        )


def unseal(w: World) -> None:
    if row := device(w, "sealed"):
        by, at = w.by(row.limb.person), row.version
        _back(
            w,
            "unseal",
            row,
            lambda: wear_back.sealing_take_back(by=by, prescription=row, reason=WORDS, expected_version=at),
        )


def taken_off(w: World) -> None:
    if row := device(w):
        by = w.by(row.limb.person)
        _back(
            w,
            "leave",
            row,
            lambda: leaving.device_leave(
                by=by, prescription=row, how="taken_off", on=w.today, with_whom="the nurse"
            ),
        )


def keep(w: World) -> None:
    if row := device(w):
        by = w.by(row.limb.person)
        _back(
            w,
            "keep",
            row,
            lambda: leaving.device_keep(by=by, prescription=row, on=w.today, because=WORDS),
        )


def stop(w: World) -> None:
    if row := device(w, "sealed", "worn", "chosen"):
        w.meet(
            lambda: wear.prescription_stop(
                by=w.by(row.limb.person),
                prescription=row,
                stopped_on=w.today,
                stop_reason="not_tolerated",
                expected_version=row.version,
            ),
            ("device", device_state(row), "stop"),
            of=row.limb.person,
            does="correct",
            after=_after(row),
        )


EVENTS = (
    prescribe,
    countersign,
    telephone,
    confirm_second,
    make_card,
    give_card,
    fit,
    seal,
    seal_whole,
    open_device,
    unopen,
    unseal,
    taken_off,
    keep,
    stop,
    undo_step,
    set_aside,
    draft,
    sign_plan,
    cut,
    put_in,
    check,
    whole_plan,
    measure,
    answer_plan_flag,
    take_imprint,
)
