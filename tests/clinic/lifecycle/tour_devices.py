"""The tour of devices, cards, plans and imprints."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from django.db import transaction

from clinic.devices.states import card_allowed, card_state, device_state
from clinic.models import (
    Imprint,
    Lesion,
    LimbPlan,
    OpeningCard,
    Prescription,
)
from clinic.relief.states import limb_plan_state, plan_state
from clinic.relief.writes.plan_life import seal_check
from offload.plans.stage import plan_allowed

from . import devices, people, ulcers
from .walks import Walks


class DeviceTour(Walks):
    """The second half of the tour."""

    @staticmethod
    def _running(row: Prescription) -> bool:
        return Prescription.objects.get(pk=row.pk).stopped_on is None

    DEVICE_EVENTS = {
        "countersign": devices.countersign,
        "telephone": devices.telephone,
        "confirm": devices.confirm_second,
        "card": devices.make_card,
        "fit": devices.fit,
        "seal": devices.seal_whole,
        "open": devices.open_device,
        "unopen": devices.unopen,
        "unseal": devices.unseal,
        "leave": devices.taken_off,
        "keep": devices.keep,
        "stop": devices.stop,
    }

    def _device(self, row: Prescription) -> None:
        events = dict(self.DEVICE_EVENTS)
        state = device_state(Prescription.objects.get(pk=row.pk))
        if state not in ("chosen", "worn", "opened"):
            events["seal"] = devices.seal
        self._each("device", events, device_state, row)

    def devices(self) -> None:
        person = self.somebody()
        one = self.ulcer(person)
        self.examined(person, one)
        with transaction.atomic():
            worn = self.device(one, "chosen", kind="walker_knee_high_removable")
            self._each("device", {"fit": devices.fit}, device_state, worn)
            self.do(devices.fit, row=worn)
            self._each(
                "device",
                {name: event for name, event in self.DEVICE_EVENTS.items() if name != "seal"},
                device_state,
                worn,
            )
            # A walker that stays on, made removable and made to stay on again.
            Prescription.objects.filter(pk=worn.pk).update(device_class="walker_non_removable")
            self.w.later(1)
            self._device(worn)
            transaction.set_rollback(True)
        row = self.device(one, "chosen")
        self._device(row)
        self.w.later(1)
        self.visit(person)
        cards = OpeningCard.objects.filter(prescription=row).order_by("-pk")
        self.door(("opening card", "none", "hand_over"), lambda: card_allowed(None, "hand_over"))
        self.try_all([devices.seal], [("opening card", "none", "seal")], row=row)
        card = self.until(devices.make_card, cards.first, row=row)
        hand = {"hand_over": devices.give_card}
        self._each("opening card", hand, card_state, card)
        self.try_all([devices.seal], [("opening card", "made", "seal")], row=row)
        self.do(devices.give_card, row=card)
        self._each("opening card", hand, card_state, card)
        with transaction.atomic():
            self.do(devices.stop, row=row)
            self._each("opening card", hand, card_state, card)
            self._device(row)
            transaction.set_rollback(True)

        def sealed() -> bool:
            return device_state(Prescription.objects.get(pk=row.pk)) == "sealed"

        self.until(devices.seal, sealed, row=row)
        self._device(row)
        self.w.later(1)
        with transaction.atomic():
            self.visit(person)  # opened at the visit
            self.until(devices.stop, lambda: not self._running(row), row=row)
            self.try_all([devices.unopen], [("device", "stopped", "unopen")], row=row)
            transaction.set_rollback(True)
        self.until(devices.open_device, lambda: not sealed(), row=row)
        self._device(row)
        # A card of this very day that another opening has made void.
        Prescription.objects.filter(pk=row.pk).update(opened_on=self.w.today)
        with transaction.atomic():
            OpeningCard.objects.filter(pk=card.pk).update(
                sealed_on=self.w.today - (self.w.today - card.sealed_on)
            )
            self.w.later(-1)
            self.try_all([devices.seal], [("opening card", "void", "seal")], row=row)
            self.w.later(1)
            transaction.set_rollback(True)

    def signatures(self) -> None:
        person = self.somebody()
        one = self.ulcer(person)
        self.examined(person, one)
        self.until(
            people.bad_toe,
            lambda: one.limb.findings.filter(found_on=self.w.today, toe_pressure_mmhg__lt=30).exists(),
            person=person,
        )
        for flag in person.red_flags.filter(answer=""):
            self.do(ulcers.answer_flag, row=flag)
        row = self.device(one, "unsigned")
        self._device(row)
        self.until(
            devices.telephone,
            lambda: device_state(Prescription.objects.get(pk=row.pk)) == "unconfirmed",
            row=row,
        )
        self._device(row)

    def plans(self) -> None:
        person = self.somebody()
        one = self.ulcer(person)
        self.examined(person, one)
        row = self.device(one, "chosen")
        mine = LimbPlan.objects.filter(limb=one.limb_id).order_by("-pk")
        plan = self.until(devices.draft, mine.first, lesion=one)
        events = {
            "sign": devices.sign_plan,
            "cut": devices.cut,
            "fit": devices.put_in,
            "check": devices.check,
            "measure": devices.measure,
            "undo": devices.undo_step,
            "set_aside": devices.set_aside,
        }

        def here() -> None:
            link = LimbPlan.objects.select_related("plan").get(pk=plan.pk)
            stage = limb_plan_state(link)
            self.try_all(events.values(), [("plan", stage, event) for event in events], plan=link)
            held = Prescription.objects.select_related("limb__person__site").get(pk=row.pk)
            held.relief_plan = link.plan
            self.door(("plan", stage, "seal"), lambda: seal_check(held, self.w.today))

        def at(stage: str) -> Callable[[], bool]:
            return lambda: plan_state(LimbPlan.objects.select_related("plan").get(pk=plan.pk).plan) == stage

        here()
        self.door(("plan", "draft", "replace"), lambda: plan_allowed(plan.plan, "replace"))
        self.door(("plan", "draft", "undo"), lambda: plan_allowed(plan.plan, "undo"))
        for event, stage in (
            (devices.sign_plan, "signed"),
            (devices.cut, "cut"),
            (devices.put_in, "fitted"),
            (devices.check, "unreadable"),
            (devices.check, "touches"),
            (devices.check, "checked"),
        ):
            self.until(event, at(stage), plan=plan)
            here()
            if stage == "signed":
                with transaction.atomic():  # a cut too shallow leaves it signed
                    self.until(devices.cut, lambda: plan.plan.steps.exists() and at("signed")(), plan=plan)
                    self.try_all([devices.undo_step], [("plan", "signed", "undo")], plan=plan)
                    transaction.set_rollback(True)
            self._replaced(plan, one, stage)
        newer = self._new_draft(plan, one)
        with transaction.atomic():
            self.until(
                devices.set_aside, lambda: LimbPlan.objects.get(pk=plan.pk).ended_on is not None, plan=plan
            )
            here()
            self.try_all([devices.sign_plan], [("plan", "aside", "replace")], plan=newer)
            transaction.set_rollback(True)
        second = self._new_draft(plan, one)
        third = self._new_draft(plan, one)
        self.until(devices.sign_plan, at("replaced"), plan=second)
        here()
        self.try_all([devices.sign_plan], [("plan", "replaced", "replace")], plan=third)

    def _new_draft(self, plan: LimbPlan, one: Lesion) -> LimbPlan:
        known = set(LimbPlan.objects.filter(limb=one.limb_id).values_list("pk", flat=True))
        fresh = LimbPlan.objects.filter(limb=one.limb_id).exclude(pk__in=known)
        # Another podiatrist's draft, or one of a new weight, is another draft.
        return self.until(devices.draft, fresh.first, lesion=one)

    def _replaced(self, plan: LimbPlan, one: Lesion, stage: str) -> None:
        with transaction.atomic():
            newer = self._new_draft(plan, one)
            self.try_all([devices.sign_plan], [("plan", stage, "replace")], plan=newer)
            transaction.set_rollback(True)

    def imprints(self) -> None:
        person = self.somebody()
        one = self.ulcer(person)
        self.examined(person, one)
        row = self.device(one, "chosen")
        take = {"take": devices.take_imprint}
        self.try_all(take.values(), [("imprint", "none", "take")], lesion=one)
        mine = Imprint.objects.filter(lesion=one).order_by("taken_on", "pk")
        first = self.until(devices.take_imprint, mine.first, lesion=one)
        self.try_all(take.values(), [("imprint", "newest", "take")], lesion=one, row=first)
        self.w.later(1)
        self.until(devices.take_imprint, lambda: mine.count() > 1, lesion=one)
        self.try_all(take.values(), [("imprint", "older", "take")], lesion=one, row=first)
        plan = self.until(
            devices.draft, LimbPlan.objects.filter(limb=one.limb_id).order_by("-pk").first, lesion=one
        )
        held = Prescription.objects.select_related("limb__person__site").get(pk=row.pk)
        held.relief_plan = plan.plan
        for day, state in ((first.taken_on, "older"), (self.w.today, "newest")):
            with transaction.atomic():
                self.door(("imprint", state, "seal"), lambda d=day: seal_check(held, d))
                transaction.set_rollback(True)
        before = one.onset_on - timedelta(days=1)
        self.door(("imprint", "none", "seal"), lambda: seal_check(held, before))
