"""Events of questions, referrals, flags and calls."""

from __future__ import annotations

from datetime import timedelta

from clinic.alerts.states import referral_state
from clinic.alerts.writes import calls, contacts, flags, flags_back, referrals
from clinic.lesions.states import question_state, ulcer_state
from clinic.lesions.writes import looks
from clinic.models import (
    IncomingCall,
    Look,
    Person,
    RedFlag,
    Referral,
    Visit,
)

from .visits import WORDS, take_back, ulcer, visit
from .world import World


# --- questions, referrals, flags, calls ---------------------------------------------------------------------
def ask(w: World) -> None:
    if one := ulcer(w, "open", "to_confirm"):
        before = one.looks.order_by("-asked_at", "-pk").first()
        again = [("question", question_state(before), "again")] if before else []
        w.meet(
            lambda: looks.look_ask(by=w.by(one.limb.person), lesion=one, question=WORDS),
            ("ulcer", ulcer_state(one), "ask"),
            *again,
            of=one.limb.person,
        )


def _question(w: World, event: str) -> None:
    if (row := w.pick(Look.objects.all())) is None:
        return
    person = Person.objects.select_related("site", "merged_into").get(pk=row.lesion.limb.person_id)
    by = w.by(person, "podiatrist")
    writes = {
        "answer": lambda: looks.look_answer(by=by, look=row, answer=WORDS, expected_version=row.version),
        "read": lambda: looks.look_read(by=by, look=row),
        "unread": lambda: looks.look_unread(by=by, look=row, reason=WORDS, expected_version=row.version),
    }
    state = question_state(row)
    w.meet(
        writes[event],
        ("question", state, event),
        of=person,
        does="correct",
        after={"question": lambda: question_state(Look.objects.get(pk=row.pk))},
        once=event == "read" and state == "read",
    )


def answer(w: World) -> None:
    _question(w, "answer")


def read(w: World) -> None:
    _question(w, "read")


def unread(w: World) -> None:
    _question(w, "unread")


def refer(w: World) -> None:
    if person := w.person():
        w.meet(
            lambda: referrals.referral_make(
                by=w.by(person),
                person=person,
                to="vascular",
                urgency=w.one("immediate", "one_working_day", "planned"),
                because=WORDS,
                made_at=World.now,
            ),
            of=person,
        )


def follow(w: World) -> None:
    if (row := w.pick(Referral.objects.all())) is None:
        return
    person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
    w.meet(
        lambda: referrals.referral_follow(
            by=w.by(person),
            referral=row,
            reached_at=World.now if w.maybe(0.8) else None,
            accepted_at=World.now if w.maybe(0.5) else None,
            seen_on=w.today if w.maybe(0.4) else None,
            result=WORDS if w.maybe(0.3) else "",
            expected_version=row.version,
        ),
        ("referral", referral_state(row), "follow"),
        of=person,
        does="correct",
        after={"referral": lambda: referral_state(Referral.objects.get(pk=row.pk))},
    )


def cancel_referral(w: World) -> None:
    if (row := w.pick(Referral.objects.all())) is None:
        return
    person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
    w.meet(
        lambda: referrals.referral_follow(
            by=w.by(person),
            referral=row,
            reached_at=row.reached_at,
            accepted_at=row.accepted_at,
            seen_on=row.seen_on,
            result=row.result,
            cancelled_because=w.one(WORDS, "No longer needed."),
            expected_version=row.version,
        ),
        ("referral", referral_state(row), "cancel"),
        of=person,
        does="correct",
        after={"referral": lambda: referral_state(Referral.objects.get(pk=row.pk))},
    )


def call(w: World) -> None:
    if person := w.person():
        w.meet(
            lambda: calls.call_log(
                by=w.by(person),
                person=person,
                about="rubbing",
                words=WORDS,
                red_flags=("new_rest_pain",) if w.maybe(0.3) else (),
            ),
            of=person,
        )


def answer_call(w: World) -> None:
    if row := w.pick(IncomingCall.objects.filter(done="")):
        person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
        w.meet(
            lambda: calls.call_answer(
                by=w.by(person), call=row, done="advised", done_note=WORDS, expected_version=row.version
            ),
            of=person,
            does="correct",
        )


def answer_flag(w: World) -> None:
    if row := w.pick(RedFlag.objects.filter(answer="")):
        person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
        w.meet(
            lambda: flags.flag_answer(
                by=w.by(person), flag=row, answer="called", note=WORDS, expected_version=row.version
            ),
            of=person,
            does="correct",
        )


def flag_in_error(w: World) -> None:
    """A visit with a red flag, some answered at once; then it is found to be an error."""
    if (person := w.person()) is None:
        return
    made = visit(w, person, red_flags=("fever_or_unwell",), next_on=w.today + timedelta(days=7))
    if made is None:
        return
    flag = RedFlag.objects.filter(visit=made, answer="").first()
    if flag is not None and w.maybe(0.4):
        w.focus = {RedFlag: flag.pk}
        answer_flag(w)
    w.focus = {Visit: made.pk}
    take_back(w)
    w.focus = {}


def withdraw_flag(w: World) -> None:
    if row := w.pick(RedFlag.objects.filter(withdrawn_on=None)):
        person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
        undo = bool(row.answer) and w.maybe(0.7)
        w.meet(
            lambda: (
                flags_back.flag_answer_take_back(
                    by=w.by(person), flag=row, reason=WORDS, expected_version=row.version
                )
                if undo
                else flags_back.flag_withdraw(by=w.by(person), flag=row, reason=WORDS)
            ),
            of=person,
            does="correct",
        )


def contact(w: World) -> None:
    if person := w.person():
        again = w.today + timedelta(days=w.one(1, 4, 9)) if w.maybe(0.5) else None
        w.meet(
            lambda: contacts.contact_log(
                by=w.by(person),
                person=person,
                how="telephone",
                result="reached" if again else "not_reached",
                next_on=again,
            ),
            of=person,
            does="care" if again else "correct",
        )
