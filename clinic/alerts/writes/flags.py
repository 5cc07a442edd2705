"""Raising red flags and answering them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.alerts.reads.flags import flags_open
from clinic.alerts.writes.owners import dangers_taken
from clinic.models import FlagAnswer, IncomingCall, Person, RedFlag, User, Visit
from clinic.record.errors import Refused, Way
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check

__all__ = ["FlagOutcome", "flag_answer", "flag_raise", "flags_raised", "no_open_flag"]


@dataclass(frozen=True)
class FlagOutcome:
    """What was done about a flag, as a page tells it; all empty: not answered yet."""

    answer: str = ""
    note: str = ""
    under: str = ""
    until: date | None = None

    @property
    def given(self) -> bool:
        return any((self.answer, self.note.strip(), self.under.strip(), self.until))


@transaction.atomic
def flag_raise(
    *,
    by: User,
    person: Person,
    flags: Sequence[str],
    visit: Visit | None = None,
    call: IncomingCall | None = None,
    from_record: Mapping[str, int] | None = None,
) -> RedFlag:
    """Put a red flag on Today until someone answers it; `from_record` holds the dangers that raised it by
    themselves.
    """
    if not flags:
        raise Refused("A red flag needs at least one finding ticked.", field="red_flags")
    flag = store(
        RedFlag(
            person=person,
            visit=visit,
            call=call,
            flags=sorted(set(flags)),
            from_record=dict(from_record or {}),
            raised_at=timezone.now(),
        ),
        by=by,
    )
    audit.record(by=by, site=person.site, verb="raised", target=flag, person=person, flags=flag.flags)
    return flag


def no_open_flag(person: Person, until: str, *, field: str | None = None) -> None:
    """Refuse while a red flag of a person is unanswered; `until` says what waits for it."""
    flag = flags_open(person).first()
    if flag is not None:
        raise Refused(
            f"A red flag of this patient is not answered yet; {until}",
            field=field,
            way=Way("flag_answer", flag.pk, "Answer it"),
        )


@transaction.atomic
def flag_answer(
    *,
    by: User,
    flag: RedFlag,
    answer: str,
    note: str,
    expected_version: int,
    under: str = "",
    until: date | None = None,
) -> RedFlag:
    """Record what was done about a red flag; it then leaves Today.

    `known`: a named team has the danger already, or has taken it now, and sees the person on a date.
    """
    standing_check(flag)
    if flag.answer:
        raise Refused("This red flag was answered already; nothing was changed.")
    if answer not in FlagAnswer.values:
        raise Refused("What was done: nothing chosen.", field="answer")
    if not note.strip():
        raise Refused(
            "Say who was called and who answered, what was done here, or why it is not a red flag.",
            field="answer_note",
        )
    _known_check(answer, under.strip(), until)
    flag.answer = answer
    flag.answer_note = note.strip()
    flag.under, flag.until = under.strip(), until
    flag.answered_at = timezone.now()
    flag.answered_by = by
    store(flag, by=by, expected_version=expected_version)
    if until is not None:
        dangers_taken(
            by=by, person=flag.person, flag=flag, team=flag.under, next_on=until, note=flag.answer_note
        )
    audit.record(
        by=by, site=flag.person.site, verb="answered", target=flag, person=flag.person, answer=answer
    )
    return flag


def _known_check(answer: str, under: str, until: date | None) -> None:
    if answer != FlagAnswer.KNOWN:
        for field, given in (("under", under), ("until", until)):
            if given:
                raise Refused(
                    "A team and its next date are for “Known, under a team until a date” only; choose that, "
                    "or clear them.",
                    field=field,
                )
        return
    if not under:
        raise Refused("Known: name the team that has it.", field="under")
    if until is None:
        raise Refused("Known: the next date there is missing.", field="until")
    today = timezone.localdate()
    if until < today:
        raise Refused(
            f"Known: next seen there on {date_format(until)} is past; a date from today, "
            f"{date_format(today)}, on is needed.",
            field="until",
        )


def flags_raised(
    *,
    by: User,
    person: Person,
    flags: Collection[str],
    outcome: FlagOutcome,
    visit: Visit | None = None,
    call: IncomingCall | None = None,
) -> RedFlag | None:
    """Raise what was ticked or found; an answer given on the page's own sheet goes with it."""
    if not flags:
        if outcome.given:
            raise Refused(
                "Red flags: what was done about a red flag is filled in, but no red flag is ticked.",
                field="red_flags",
            )
        return None
    flag = flag_raise(by=by, person=person, flags=sorted(flags), visit=visit, call=call)
    if outcome.given:
        try:
            return flag_answer(
                by=by,
                flag=flag,
                answer=outcome.answer,
                note=outcome.note,
                under=outcome.under,
                until=outcome.until,
                expected_version=flag.version,
            )
        except Refused as refused:
            field = f"flag_{refused.field}" if refused.field else "flag_answer"
            raise Refused(refused.message, field=field) from refused
    return flag
