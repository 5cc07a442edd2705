"""Tests: requested with an owner and a day, reported, seen, corrected, withdrawn."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.guidelines.results import RESULT_KINDS, value_fault
from clinic.models import Lesion, Limb, Person, Result, ResultReading, Role, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = [
    "result_correct",
    "result_report",
    "result_request",
    "result_see",
    "result_stands",
    "result_withdraw",
]


def _held_to_rules(result: Result) -> None:
    """What the request itself has to hold, new or corrected."""
    person = result.person
    if result.kind not in RESULT_KINDS:
        raise Refused("Test: choose one of the list.", field="kind")
    if result.kind == "other" and not result.what:
        raise Refused("What exactly: another test is named here.", field="what")
    if result.lesion is not None and result.lesion.limb_id != result.limb_id:
        raise Refused("For: that ulcer is on another foot.", field="about")
    if result.limb is not None and result.limb.person_id != person.pk:
        raise Refused("For: that foot belongs to someone else.", field="about")
    asked_on = result.requested_on
    if asked_on > timezone.localdate():
        raise Refused(f"Requested on: {date_format(asked_on)} lies in the future.", field="requested_on")
    if asked_on < person.birth_date:
        raise Refused(
            f"Requested on: {date_format(asked_on)} lies before the patient was born.", field="requested_on"
        )
    if result.due_on < result.requested_on:
        raise Refused(
            f"Result due on: {date_format(result.due_on)} lies before the day of the request, "
            f"{date_format(asked_on)}.",
            field="due_on",
        )
    if not result.owner.sites.filter(pk=person.site_id).exists():
        raise Refused(f"Who waits for the result: {result.owner} does not work here.", field="owner")


@transaction.atomic
def result_request(
    *,
    by: User,
    person: Person,
    kind: str,
    requested_on: date,
    due_on: date,
    owner: User,
    what: str = "",
    limb: Limb | None = None,
    lesion: Lesion | None = None,
) -> Result:
    """Record that a test was asked for, who waits for it and until when."""
    made = Result(
        person=person,
        limb=limb or (lesion.limb if lesion else None),
        lesion=lesion,
        kind=kind,
        what=what.strip(),
        requested_on=requested_on,
        due_on=due_on,
        owner=owner,
    )
    _held_to_rules(made)
    store(made, by=by)
    audit.record(
        by=by, site=person.site, verb="requested", target=made, person=person, kind=kind, due_on=due_on
    )
    return made


@transaction.atomic
def result_correct(
    *,
    by: User,
    result: Result,
    kind: str,
    requested_on: date,
    due_on: date,
    owner: User,
    what: str,
    limb: Limb | None,
    lesion: Lesion | None,
    why: str,
    expected_version: int,
) -> Result:
    """Correct a request, also hand it to another owner or move its day; its copies stay in the history."""
    if result.result_on is not None and kind != result.kind:
        raise Refused(
            f"Test: a result of {result.get_kind_display()} has arrived; withdraw this request and make a "
            "new one.",
            field="kind",
        )
    result.kind, result.what, result.limb, result.lesion = kind, what.strip(), limb, lesion
    result.requested_on, result.due_on, result.owner = requested_on, due_on, owner
    _held_to_rules(result)
    store(result, by=by, expected_version=expected_version, why=why)
    audit.record(
        by=by,
        site=result.person.site,
        verb="corrected",
        target=result,
        person=result.person,
        due_on=due_on,
        why=why,
    )
    return result


@transaction.atomic
def result_report(
    *,
    by: User,
    result: Result,
    result_on: date,
    reading: str,
    expected_version: int,
    value: Decimal | None = None,
    words: str = "",
) -> Result:
    """Record what came back. A report corrected after it was seen waits for eyes again."""
    result_stands(result)
    if reading not in ResultReading.values:
        raise Refused("Read as: normal, abnormal or unclear; one is needed.", field="reading")
    if result_on < result.requested_on or result_on > timezone.localdate():
        raise Refused(
            f"Result of: {date_format(result_on)}; it must lie between the request, "
            f"{date_format(result.requested_on)}, and today.",
            field="result_on",
        )
    fault = value_fault(result.kind, None if value is None else float(value), words)
    if fault:
        raise Refused(fault, field="value" if RESULT_KINDS[result.kind].numeric else "words")
    again = result.seen_on is not None
    result.result_on, result.value, result.words, result.reading = result_on, value, words.strip(), reading
    result.seen_on, result.seen_by, result.follows = None, None, ""
    store(result, by=by, expected_version=expected_version, why="report corrected" if again else "")
    audit.record(
        by=by,
        site=result.person.site,
        verb="reported",
        target=result,
        person=result.person,
        reading=reading,
        seen_before=again,
    )
    return result


@transaction.atomic
def result_see(*, by: User, result: Result, follows: str, expected_version: int) -> Result:
    """Record that its owner or a podiatrist has seen the result, and what follows (design choice: who)."""
    result_stands(result)
    if result.result_on is None:
        raise Refused(f"{result.label}: no result has arrived yet.")
    if result.seen_on is not None:
        raise Refused(f"{result.label}: seen already by {result.seen_by}; nothing was changed.")
    if by.pk != result.owner_id and by.role != Role.PODIATRIST:
        raise Refused(f"{result.label}: its owner, {result.owner}, or a podiatrist marks it as seen.")
    if not follows.strip():
        raise Refused("What follows from it: a few words are needed.", field="follows")
    result.seen_on, result.seen_by, result.follows = timezone.localdate(), by, follows.strip()
    store(result, by=by, expected_version=expected_version)
    audit.record(
        by=by, site=result.person.site, verb="saw", target=result, person=result.person, kind=result.kind
    )
    return result


@transaction.atomic
def result_withdraw(*, by: User, result: Result, withdrawn_because: str, expected_version: int) -> Result:
    """End a request that is not wanted any more, or was entered in error; the row stays."""
    result_stands(result)
    if not withdrawn_because.strip():
        raise Refused("Why it is withdrawn: a few words are needed.", field="withdrawn_because")
    result.withdrawn_on, result.withdrawn_because = timezone.localdate(), withdrawn_because.strip()
    store(result, by=by, expected_version=expected_version, why="withdrawn")
    audit.record(
        by=by, site=result.person.site, verb="withdrew", target=result, person=result.person, kind=result.kind
    )
    return result


def result_stands(result: Result) -> None:
    """Refuse to change what was withdrawn."""
    if result.withdrawn_on is not None:
        raise Refused(
            f"{result.label} was withdrawn on {date_format(result.withdrawn_on)}; nothing was changed."
        )
