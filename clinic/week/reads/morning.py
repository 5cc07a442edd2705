"""This morning: one list that should be empty. Clocks past, flags open, nobody reached, nobody lost,
looks waiting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime

from django.utils import timezone

from clinic.alerts.reads.calls import call_clock, call_words
from clinic.alerts.reads.flags import flag_urgency, flag_words
from clinic.alerts.reads.referrals import clock_of
from clinic.devices.reads.overriding import may_sign_second
from clinic.guidelines.clocks import (
    Attempt,
    Clock,
    attempts_clock,
    flag_clock,
    seal_clock,
)
from clinic.guidelines.overriding import confirmation_clock
from clinic.models import Attendance, ContactResult, Site, User
from clinic.record.dates import day_words
from clinic.record.messages import message_of
from clinic.rules.reads.clocks import hours_of, local_day
from clinic.week.reads.morning_waiting import (
    antibiotic_rows,
    bone_rows,
    item_rows,
    opened_rows,
    result_rows,
    review_rows,
)
from clinic.week.reads.rows import Ask, TodayRow, writable
from clinic.week.reads.today_cases import OpenCase
from clinic.week.reads.urgency import flag_limit

__all__ = ["Ask", "Morning", "TodayRow", "contact_state", "morning_of"]


@dataclass(frozen=True)
class Morning:
    """The parts of the list, the loudest first. Empty is how it should be."""

    flags: tuple[TodayRow, ...]
    sealed: tuple[TodayRow, ...]
    calls: tuple[TodayRow, ...]
    owners: tuple[TodayRow, ...]
    back_home: tuple[TodayRow, ...]
    referrals: tuple[TodayRow, ...]
    contacts: tuple[TodayRow, ...]
    no_date: tuple[TodayRow, ...]
    opened: tuple[TodayRow, ...]
    signatures: tuple[TodayRow, ...]
    confirmations: tuple[TodayRow, ...]
    plans: tuple[TodayRow, ...]
    left: tuple[TodayRow, ...]
    begun: tuple[TodayRow, ...]
    results: tuple[TodayRow, ...]
    antibiotics: tuple[TodayRow, ...]
    bones: tuple[TodayRow, ...]
    reviews: tuple[TodayRow, ...]
    items: tuple[TodayRow, ...]
    looks: tuple[TodayRow, ...]

    @property
    def rows(self) -> tuple[TodayRow, ...]:
        return tuple(row for part in fields(self) for row in getattr(self, part.name))

    def __len__(self) -> int:
        return len(self.rows)


def morning_of(
    site: Site,
    cases: Iterable[OpenCase],
    day: date,
    now: datetime,
    signer: User | None = None,
    left: tuple[TodayRow, ...] = (),
) -> Morning:
    """The list of one site from what its people bring; no query. `signer` is who may sign a prescription
    second, `left` the rows of who is no longer in care.
    """
    everybody = list(cases)

    def part(make: Callable[[OpenCase], Iterator[TodayRow]]) -> tuple[TodayRow, ...]:
        rows = [writable(row) for case in everybody for row in make(case)]
        return tuple(
            sorted(rows, key=lambda row: (row.day or date.max, row.person.family_name, row.person.pk))
        )

    return Morning(
        flags=part(lambda case: _flags(case, site, now)),
        sealed=part(lambda case: _sealed(case, now)),
        calls=part(lambda case: _calls(case, site, now)),
        owners=part(_owners),
        back_home=part(_back_home),
        referrals=part(lambda case: _referrals(case, site, now)),
        contacts=part(lambda case: _contacts(case, site)),
        no_date=part(lambda case: _no_date(case, site)),
        opened=part(opened_rows),
        signatures=part(lambda case: _signatures(case, signer)),
        confirmations=part(lambda case: _confirmations(case, site, now)),
        plans=part(_plans),
        left=tuple(writable(row) for row in left),
        begun=part(_begun),
        results=part(result_rows),
        antibiotics=part(antibiotic_rows),
        bones=part(bone_rows),
        reviews=part(review_rows),
        items=part(item_rows),
        looks=part(_looks),
    )


def _sealed(case: OpenCase, now: datetime) -> Iterator[TodayRow]:
    for device in case.sealed:
        if (
            device.open_by is None
            or not seal_clock(device.open_by, now, timezone.get_current_timezone()).late
        ):
            continue
        ask = Ask(message_of("open_sealed_now"), "prescription_open", device.pk)
        words = (
            f"Sealed {device.get_device_class_display().lower()} on the {device.limb.side} foot, to be "
            f"opened by {day_words(device.open_by)}"
        )
        yield TodayRow(case.person, device.open_by, words, case.lines, (ask,))


def _flags(case: OpenCase, site: Site, now: datetime) -> Iterator[TodayRow]:
    for flag in case.flags:
        clock = flag_clock(flag.raised_at, flag_urgency(flag.flags), hours_of(site), now)
        ask = Ask(message_of("answer_flag"), "flag_answer", flag.pk)
        words = f"Red flag: {'; '.join(flag_words(flag.flags))} ({clock.words})"
        limit = flag_limit(flag.raised_at, flag.flags, site)
        yield TodayRow(case.person, local_day(flag.raised_at), words, case.lines, (ask,), limit=limit)


def _calls(case: OpenCase, site: Site, now: datetime) -> Iterator[TodayRow]:
    for call in case.calls:
        clock = call_clock(call, site, now, sealed=bool(case.sealed))
        late = clock.due is not None and now > clock.due
        ask = Ask(message_of("answer_call_now" if late else "answer_call"), "call_answer", call.pk)
        words = f"{call_words(call)} ({clock.words})"
        yield TodayRow(case.person, local_day(call.called_at), words, (), (ask,))


def _owners(case: OpenCase) -> Iterator[TodayRow]:
    for past in case.owners_past:
        ask = Ask(message_of("ask_team"), "dangers", past.limb.pk)
        words = (
            f"{past.limb.get_side_display()} foot: {past.danger.danger.words} {past.owner.team} was to see "
            f"it on {day_words(past.owner.next_on)}"
        )
        yield TodayRow(case.person, past.owner.next_on, words, (), (ask,))


def _back_home(case: OpenCase) -> Iterator[TodayRow]:
    back = case.back_home
    if back is not None:
        asks = [Ask(message_of("ask_again", words=one.words), one.url_name, one.pk) for one in back.left]
        left = ", ".join(one.words for one in back.left)
        words = f"Back since {day_words(back.on)}; what was known before the stay is asked anew: {left}"
        yield TodayRow(case.person, back.on, words, (), tuple(asks))


def _referrals(case: OpenCase, site: Site, now: datetime) -> Iterator[TodayRow]:
    for referral in case.referrals:
        clock = clock_of(referral, site, now)
        if clock.late:
            ask = Ask(message_of("reach_referral"), "referral", referral.pk)
            words = f"Referral to {referral.get_to_display().lower()} has not reached them ({clock.words})"
            yield TodayRow(case.person, local_day(referral.made_at), words, (), (ask,))


def _signatures(case: OpenCase, signer: User | None) -> Iterator[TodayRow]:
    """Only for somebody who can end the wait. Against a known danger that is everybody: who may not sign
    writes down what an outside clinician agreed to by telephone.
    """
    for device in case.unsigned:
        if signer is None or not (device.overriding or may_sign_second(device, signer)):
            continue
        message = "sign_second_or_call" if device.overriding else "sign_second"
        ask = Ask(message_of(message), "prescription", device.pk)
        words = (
            f"{device.get_device_class_display()} for the {device.limb.side} foot, signed by "
            f"{device.signed_by} on "
            f"{day_words(local_day(device.signed_at))}: not fitted before a second signature"
        )
        yield TodayRow(case.person, local_day(device.signed_at), words, case.lines, (ask,))


def _confirmations(case: OpenCase, site: Site, now: datetime) -> Iterator[TodayRow]:
    """Second signatures by telephone that nobody has confirmed: an ask, past two working days a stop."""
    for device in case.unconfirmed:
        if device.second_at is None:
            continue
        clock = confirmation_clock(device.second_at, hours_of(site), now)
        ask = Ask(
            message_of("confirm_second_now" if clock.late else "confirm_second"), "second_confirm", device.pk
        )
        words = (
            f"{device.get_device_class_display()} for the {device.limb.side} foot, agreed by telephone with "
            f"{device.second_name}: to be confirmed {clock.words}; stays unsealed"
        )
        yield TodayRow(case.person, local_day(device.second_at), words, case.lines, (ask,))


def _plans(case: OpenCase) -> Iterator[TodayRow]:
    for flag in case.plan_flags:
        ask = Ask(message_of("look_at_plan"), "plan", flag.limb_plan.plan.code)
        words = f"Relief plan of the {flag.limb_plan.limb.side} foot: {flag.words}"
        yield TodayRow(case.person, flag.raised_on, words, case.lines, (ask,))


def contact_state(case: OpenCase, site: Site) -> tuple[bool, Clock]:
    """Whether a missed visit is still unexplained, and how the attempts since it stand."""
    zone = timezone.get_current_timezone()
    tries = [Attempt(one.tried_at, one.result == ContactResult.REACHED) for one in case.attempts]
    clock = attempts_clock(tries, case.latest_on, site.attempts_before_escalation, zone)
    reached = any(
        one.reached and (case.latest_on is None or local_day(one.tried_at) >= case.latest_on) for one in tries
    )
    return case.attendance == Attendance.DID_NOT_COME and not reached, clock


def _contact_ask(case: OpenCase, site: Site) -> tuple[Ask, ...]:
    missed, clock = contact_state(case, site)
    if clock.level == "stop":
        return (Ask(message_of("escalate_contact", failed=clock.words), "contact_new", case.person.pk),)
    if clock.level == "ask":
        return (Ask(message_of("try_again", failed=clock.words), "contact_new", case.person.pk),)
    return (Ask(message_of("try_to_reach"), "contact_new", case.person.pk),) if missed else ()


def _contacts(case: OpenCase, site: Site) -> Iterator[TodayRow]:
    """People who did not come or cannot be reached. Those without a next date stand there, with the same
    ask.
    """
    asks = _contact_ask(case, site)
    if asks and not (case.lesions and case.next_on is None):
        yield TodayRow(case.person, case.latest_on, _missed_words(case, site), case.lines, asks)


def _missed_words(case: OpenCase, site: Site) -> str:
    words = "Not reached"
    if case.attendance == Attendance.DID_NOT_COME and case.latest_on:
        words = f"Did not come on {day_words(case.latest_on)}"
    if case.attempts:
        words += f", last tried {day_words(local_day(case.attempts[-1].tried_at))}"
    return words


def _no_date(case: OpenCase, site: Site) -> Iterator[TodayRow]:
    if not case.lesions or case.next_on is not None:
        return
    words = (
        "No visit yet" if case.latest_on is None else f"Last entry {day_words(case.latest_on)}, no next date"
    )
    visit = Ask(message_of("log_visit"), "visit_new", case.person.pk)
    yield TodayRow(case.person, case.latest_on, words, case.lines, (visit, *_contact_ask(case, site)))


def _begun(case: OpenCase) -> Iterator[TodayRow]:
    for visit in case.begun:
        ask = Ask(message_of("finish_visit", who=visit.created_by), "visit_finish", visit.pk)
        words = f"Visit of {day_words(visit.visited_on)} is not finished"
        yield TodayRow(case.person, visit.visited_on, words, (), (ask,))


def _looks(case: OpenCase) -> Iterator[TodayRow]:
    for look in case.looks:
        asked_on = local_day(look.asked_at)
        if look.answer:
            words = f"{look.lesion}: “{look.question}” {look.answered_by} answers: “{look.answer}”"
            ask = Ask(message_of("look_answered"), "look_read", look.pk, post=True)
        else:
            words = f"{look.lesion}: {look.created_by} asked on {day_words(asked_on)}: “{look.question}”"
            ask = Ask(message_of("look_waits"), "lesion", look.lesion_id)
        yield TodayRow(case.person, asked_on, words, (), (ask,))
