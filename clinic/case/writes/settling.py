"""Settling what is open of a person who moved, died or was lost: each thing by its own write, all or none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.antibiotics import antibiotic_stop
from clinic.alerts.writes.referrals import referral_follow
from clinic.alerts.writes.results import result_see, result_withdraw
from clinic.devices.writes.leaving import KEPT, device_keep, device_leave
from clinic.lesions.writes.closure import lesion_end
from clinic.lesions.writes.looks import look_answer, look_read
from clinic.lesions.writes.non_healing import item_close
from clinic.models import CourseStop, ItemState, LesionOutcome, Person, PersonState, User
from clinic.people.reads.left_open import OpenThing, open_things
from clinic.record.errors import Refused, words_needed
from clinic.relief.writes.setting_aside import plan_set_aside

__all__ = ["KEPT", "OUTCOME_OF", "LineEnd", "person_settle"]

#: How an ulcer ends whose person is no longer in care.
OUTCOME_OF = {
    PersonState.MOVED: LesionOutcome.MOVED,
    PersonState.DIED: LesionOutcome.DIED,
    PersonState.LOST: LesionOutcome.LOST,
}


@dataclass(frozen=True)
class LineEnd:
    """What becomes of one open thing. `key` names it as `OpenThing.key` does; `choice` is an ulcer's outcome
    or a device's way; `words` say by whom, with whom, or what becomes of it; `informed` who was informed.
    """

    key: str
    choice: str = ""
    words: str = ""
    informed: str = ""


@transaction.atomic
def person_settle(*, by: User, person: Person, on: date, ends: Iterable[LineEnd]) -> list[OpenThing]:
    """End each named thing on that day; gives back what is still open. What is not named stays open."""
    if on > timezone.localdate():
        raise Refused(f"On: {on:%-d %b %Y} lies in the future.", field="on")
    things = {thing.key: thing for thing in open_things(person)}
    given = list(ends)
    if not given:
        raise Refused("Nothing was settled: say of at least one line what becomes of it.")
    for end in given:
        thing = things.get(end.key)
        if thing is None:
            raise Refused("One of these lines was settled by somebody else meanwhile: look again.")
        try:
            _end(by, person, thing, end, on)
        except Refused as refused:
            field = _FIELDS.get(refused.field or "", "choice" if end.choice else "words")
            raise Refused(
                f"{thing.words}. {refused.message}", field="on" if field == "on" else f"{field}_{end.key}"
            ) from refused
    return open_things(person)


#: Fields of the single writes -> fields of the page.
_FIELDS = {
    "on": "on",
    "ended_on": "on",
    "stopped_on": "on",
    "with_whom": "words",
    "because": "words",
    "informed": "informed",
    "outcome": "choice",
}


def _end(by: User, person: Person, thing: OpenThing, end: LineEnd, on: date) -> None:
    row, words = thing.row, end.words
    if thing.kind == "device":
        if end.choice == KEPT:
            device_keep(by=by, prescription=row, on=on, because=words)
        else:
            device_leave(
                by=by, prescription=row, how=end.choice, on=on, with_whom=words, informed=end.informed
            )
        return
    if thing.kind == "lesion":
        if end.choice not in (OUTCOME_OF.get(PersonState(person.state)), *_AMPUTATED):
            raise Refused("Outcome: as the patient's, or an amputation.", field="outcome")
        lesion_end(by=by, lesion=row, outcome=end.choice, ended_on=on, expected_version=row.version)
        return
    write = _BY_WORDS.get(thing.kind)
    if write is None:
        raise Refused("It is answered on its own page.")
    write(by, row, words_needed(words, "because"), on)


_AMPUTATED = (LesionOutcome.MINOR_AMPUTATION, LesionOutcome.MAJOR_AMPUTATION)


def _plan(by: User, row: Any, words: str, on: date) -> None:
    plan_set_aside(by=by, limb_plan=row, ended_on=on, because=words)


def _referral(by: User, row: Any, words: str, on: date) -> None:
    referral_follow(
        by=by,
        referral=row,
        reached_at=row.reached_at,
        accepted_at=row.accepted_at,
        seen_on=row.seen_on,
        result=words,
        expected_version=row.version,
    )


def _result(by: User, row: Any, words: str, on: date) -> None:
    if row.result_on is None:
        result_withdraw(by=by, result=row, withdrawn_because=words, expected_version=row.version)
    else:
        result_see(by=by, result=row, follows=words, expected_version=row.version)


def _course(by: User, row: Any, words: str, on: date) -> None:
    antibiotic_stop(
        by=by,
        course=row,
        stopped_on=on,
        stop_reason=CourseStop.LEFT,
        stop_note=words,
        expected_version=row.version,
    )


def _look(by: User, row: Any, words: str, on: date) -> None:
    if not row.answer:
        look_answer(by=by, look=row, answer=words, expected_version=row.version)
    look_read(by=by, look=row)


def _item(by: User, row: Any, words: str, on: date) -> None:
    item_close(by=by, item=row, state=ItemState.NOT_NEEDED, words=words, expected_version=row.version)


_BY_WORDS: dict[str, Callable[[User, Any, str, date], None]] = {
    "plan": _plan,
    "referral": _referral,
    "result": _result,
    "course": _course,
    "look": _look,
    "item": _item,
}
