"""Every state of every noun visited on purpose, and every event tried there: what a random run of a few
seconds meets too seldom. The events, the writes and the counting are the machine's own.
"""

from __future__ import annotations

from django.db import transaction

from clinic.accounts.states import account_state
from clinic.alerts.states import referral_state
from clinic.lesions.states import question_state, ulcer_state
from clinic.models import (
    Lesion,
    Look,
    Person,
    Referral,
    Transfer,
    User,
    Visit,
)
from clinic.people.states import transfer_state
from clinic.record.lifecycle import person_state
from clinic.visits.states import visit_state

from . import devices, people, ulcers
from .tour_devices import DeviceTour
from .world import World


class Tour(DeviceTour):
    """One world, walked through branch by branch; each branch is rolled back."""

    # --- nouns ----------------------------------------------------------------------------------------------
    def go(self) -> None:
        for walk in (
            self.people,
            self.ulcers,
            self.visits,
            self.questions,
            self.referrals,
            self.transfers,
            self.accounts,
            self.devices,
            self.signatures,
            self.plans,
            self.imprints,
        ):
            self.branch(walk)

    def people(self) -> None:
        person, other = self.somebody(), self.somebody()
        one = self.ulcer(person)
        events = {
            "care": people.weigh,
            "correct": ulcers.correct_ulcer,
            "leave": people.leave,
            "return": people.come_back,
            "hand_over": people.hand_over,
            "take_over": people.accept,
            "restrict": people.restrict,
            "lift": people.lift,
            "erase": lambda w: people._by_law(w, "erase"),
        }

        def here() -> None:
            row = Person.objects.get(pk=person.pk)
            asked = Transfer.objects.filter(person=row).first()
            rows = {"person": row, "lesion": one, **({"transfer": asked} if asked else {})}
            cells = [("person", person_state(row), event) for event in events]
            self.try_all(events.values(), cells, **rows)

        self.until(people.hand_over, lambda: Transfer.objects.filter(person=person).exists(), person=person)
        here()
        for state in ("moved", "died", "lost"):
            with transaction.atomic():
                self.until(people.leave, lambda s=state: people.person_now(person.pk) == s, person=person)
                here()
                transaction.set_rollback(True)
        with transaction.atomic():
            self.until(people.restrict, lambda: people.person_now(person.pk) == "restricted", person=person)
            here()
            transaction.set_rollback(True)
        # Merged: what is left there is an empty record, so its rows are put back by hand to be asked about.
        Person.objects.filter(pk=person.pk).update(
            state="merged", state_on=self.w.today, merged_into=other.pk
        )
        here()

    def ulcers(self) -> None:
        person = self.somebody()
        one, other = self.ulcer(person), self.ulcer(person)
        if other.pk == one.pk:
            self.until(
                ulcers.new_ulcer,
                lambda: Lesion.objects.filter(limb=one.limb_id, state="open").count() > 1,
                person=person,
            )
            other = Lesion.objects.filter(limb=one.limb_id, state="open").exclude(pk=one.pk)[0]
        self.until(people.examine, lambda: one.limb.findings.exists(), person=person)

        def now() -> Lesion:
            return Lesion.objects.select_related("limb__person__site", "episode").get(pk=one.pk)

        def measured(w: World) -> None:
            w.focus = {}
            ulcers.visit(w, Person.objects.select_related("site").get(pk=person.pk), also=now())

        def into(w: World) -> None:
            w.focus = {Lesion: other.pk}
            ulcers.join(w, into=now())

        events = {
            "measure": measured,
            "close": ulcers.close,
            "confirm": ulcers.confirm,
            "reopen": ulcers.reopen,
            "end": ulcers.end,
            "take_in": into,
            "split": ulcers.split,
            "recur": ulcers.recur,
            "imprint": devices.take_imprint,
            "plan": devices.draft,
            "ask": ulcers.ask,
            "correct": ulcers.correct_ulcer,
            "take_back": ulcers.unclose,
            "in_error": ulcers.in_error,
        }

        def here() -> None:
            self.w.later(1)
            cells = [("ulcer", ulcer_state(now()), event) for event in events]
            self.try_all(events.values(), cells, lesion=one)

        here()
        self.w.later(1)
        self.visit(person, covered=True)
        self.try_all([ulcers.close], [("ulcer", "open", "close")], lesion=one)
        self.until(ulcers.close, lambda: now().state == "to_confirm", lesion=one)
        here()
        self.w.later(14)
        self.visit(person, covered=True)
        self.try_all([ulcers.confirm], [("ulcer", "to_confirm", "confirm")], lesion=one)
        with transaction.atomic():
            self.until(ulcers.confirm, lambda: now().state == "healed", lesion=one)
            here()
            self.w.later(40)
            self.try_all([ulcers.recur], [("ulcer", "healed", "recur")], lesion=one)
            self.w.later(-40)
            transaction.set_rollback(True)
        for event, state in ((ulcers.in_error, "in_error"), (ulcers.end, "left"), (ulcers.end, "ended")):
            with transaction.atomic():
                self.until(event, lambda s=state: self._ends(ulcer_state(now()), s), lesion=one)
                if ulcer_state(now()) == state:
                    here()
                transaction.set_rollback(True)

    @staticmethod
    def _ends(state: str, wanted: str) -> bool:
        return state == wanted or state in ("ended", "left", "in_error")

    def visits(self) -> None:
        right = self.somebody()
        theirs = Lesion.objects.filter(limb__person=right, state="open")
        self.until(ulcers.new_ulcer, lambda: theirs.count() > 3, person=right)
        person = self.somebody()
        self.ulcer(person)
        events = {
            "finish": ulcers.finish,
            "correct": ulcers.correct_visit,
            "correct_missed": ulcers.correct_missed,
            "move": ulcers.move,
            "take_back": ulcers.take_back,
        }
        mine = Visit.objects.filter(person=person)
        for event, state in (
            (ulcers.begin_visit, "begun"),
            (ulcers.log, "made"),
            (ulcers.missed, "missed"),
        ):
            self.w.later(1)
            row = self.until(
                event,
                lambda s=state: next(
                    (one for one in mine.order_by("-pk")[:1] if visit_state(one) == s), None
                ),
                person=person,
            )
            self._each("visit", events, visit_state, row)
        self.until(ulcers.take_back, lambda: mine.filter(state="in_error").exists(), row=row)
        self._each("visit", events, visit_state, row)

    def questions(self) -> None:
        one = self.ulcer(self.somebody())
        row = self.until(ulcers.ask, one.looks.first, lesion=one)
        events = {"again": ulcers.ask, "answer": ulcers.answer, "read": ulcers.read, "unread": ulcers.unread}
        self._each("question", events, question_state, row, lesion=one)
        self.do(ulcers.answer, row=row)
        self._each("question", events, question_state, row, lesion=one)
        self.do(ulcers.read, row=row)
        self._each("question", events, question_state, row, lesion=one)
        assert question_state(Look.objects.get(pk=row.pk)) == "read"

    def referrals(self) -> None:
        person = self.somebody()
        row = self.until(ulcers.refer, person.referrals.first, person=person)
        events = {"follow": ulcers.follow, "cancel": ulcers.cancel_referral}
        for state in ("made", "reached", "accepted", "seen", "answered", "cancelled"):
            with transaction.atomic():
                self.until(
                    ulcers.cancel_referral if state == "cancelled" else ulcers.follow,
                    lambda s=state: referral_state(Referral.objects.get(pk=row.pk)) == s,
                    row=row,
                )
                self._each("referral", events, referral_state, row)
                transaction.set_rollback(True)

    def transfers(self) -> None:
        person = self.somebody()
        row = self.until(people.hand_over, person.transfers.first, person=person)
        events = {
            "accept": people.accept,
            "decline": people.decline,
            "withdraw": people.withdraw,
            "see": people.see,
            "send_back": people.send_back,
        }
        self._each("transfer", events, transfer_state, row)
        for event in (people.decline, people.withdraw, people.accept):
            with transaction.atomic():
                self.do(event, row=row)
                self._each("transfer", events, transfer_state, row)
                if event is people.accept:
                    self.do(people.send_back, row=row)
                    self._each("transfer", events, transfer_state, row)
                transaction.set_rollback(True)

    def accounts(self) -> None:
        leavers = User.objects.filter(username__startswith="leaver").order_by("-pk")
        row = self.until(people.invite, leavers.first)
        events = {
            "set_password": people.set_password,
            "reset": people.reset,
            "switch_off": people.switch_off,
            "switch_on": people.switch_on,
        }
        for event in (None, people.set_password, people.switch_off):
            if event is not None:
                self.do(event, row=row)
            link = people.LINKS.get(row.pk)
            self._each("account", events, account_state, row)
            people.LINKS[row.pk] = link or "none"
        with transaction.atomic():
            self.do(people.switch_on, row=row)
            transaction.set_rollback(True)
