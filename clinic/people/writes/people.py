"""Registering people, correcting their record, and what is asked or weighed once per person."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import Circumstances, Limb, Person, PersonState, Side, Site, User, Weight
from clinic.record.afterwards import afterwards
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_allowed
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = [
    "circumstances_add",
    "day_of_life",
    "person_correct",
    "person_register",
    "person_set_state",
    "weight_add",
]

OLDEST_AGE_YEARS = 120


def day_of_life(field: str, label: str, day: date, *, of: Person) -> date:
    """A day between the person's birth and today; anything else is refused at its field."""
    today = timezone.localdate()
    if day > today:
        raise Refused(
            f"{label} was given as {date_format(day)}; the latest possible is today, {date_format(today)}.",
            field=field,
        )
    if day < of.birth_date:
        raise Refused(
            f"{label} was given as {date_format(day)}; that is before the birth on "
            f"{date_format(of.birth_date)}.",
            field=field,
        )
    return day


def _check_birth(person: Person) -> None:
    day_of_life("birth_date", "Birth date", person.birth_date, of=person)
    if person.age_on(timezone.localdate()) > OLDEST_AGE_YEARS:
        raise Refused(
            f"Birth date was given as {date_format(person.birth_date)}; more than {OLDEST_AGE_YEARS} years "
            "ago "
            "is not possible.",
            field="birth_date",
        )


def _check_number(person: Person) -> None:
    holder = (
        Person.objects.filter(site=person.site, record_number=person.record_number)
        .exclude(pk=person.pk)
        .first()
    )
    if holder is not None:
        raise Refused(
            f"Record number {person.record_number} already belongs to {holder.full_name}, born "
            f"{date_format(holder.birth_date)}.",
            field="record_number",
        )


def _weight(*, by: User, person: Person, kg: Decimal, how: str, measured_on: date) -> Weight:
    day_of_life("measured_on", "Weighed on", measured_on, of=person)
    if person.weights.standing().filter(kg=kg, how=how, measured_on=measured_on).exists():
        raise Refused("This weight of this day is recorded already; nothing was added.", field="kg")
    return store(Weight(person=person, kg=kg, how=how, measured_on=measured_on), by=by)


@transaction.atomic
def person_register(
    *,
    by: User,
    site: Site,
    kg: Decimal | None = None,
    how: str = "",
    measured_on: date | None = None,
    **fields: Any,
) -> Person:
    """A new person with both feet, and a first weight when there is one."""
    person = Person(site=site, **fields)
    _check_birth(person)
    _check_number(person)
    store(person, by=by)
    for side in Side.values:
        store(Limb(person=person, side=side), by=by)
    if kg is not None:
        _weight(by=by, person=person, kg=kg, how=how, measured_on=measured_on or timezone.localdate())
    audit.record(
        by=by,
        site=site,
        verb="registered",
        target=person,
        person=person,
        record_number=person.record_number,
        weighed=kg is not None,
    )
    return person


@transaction.atomic
def person_correct(
    *, by: User, person: Person, expected_version: int, why: str = "", **fields: Any
) -> Person:
    """Change the person's own fields; only what differs is written and told."""
    changed = [name for name, value in fields.items() if getattr(person, name) != value]
    if not changed and expected_version == person.version:
        return person
    for name in changed:
        setattr(person, name, fields[name])
    _check_birth(person)
    _check_number(person)
    store(person, by=by, expected_version=expected_version, why=why)
    audit.record(by=by, site=person.site, verb="corrected", target=person, person=person, fields=changed)
    return person


@transaction.atomic
def person_set_state(
    *, by: User, person: Person, state: str, state_on: date | None, expected_version: int
) -> Person:
    """In care, moved away or died. Lists leave out who is not in care; lesions and devices stay as they
    are.
    """
    if state == PersonState.MERGED:
        raise Refused("Two records are merged on their own page.", field="state")
    person_allowed(person, "return" if state == PersonState.IN_CARE else "leave")
    if state == PersonState.IN_CARE:
        state_on = None
    elif state_on is None:
        raise Refused("Moved away or died needs its day.", field="state_on")
    else:
        day_of_life("state_on", "The day", state_on, of=person)
    person.state, person.state_on = state, state_on
    store(person, by=by, expected_version=expected_version)
    audit.record(
        by=by, site=person.site, verb="set state of", target=person, person=person, state=state, on=state_on
    )
    return person


@transaction.atomic
def weight_add(
    *, by: User, person: Person, kg: Decimal, how: str, measured_on: date, confirmed: str = ""
) -> Weight:
    """A dated weight and how it was taken; `confirmed` is the question that was answered "as typed"."""
    weight = _weight(by=by, person=person, kg=kg, how=how, measured_on=measured_on)
    audit.record(
        by=by,
        site=person.site,
        verb="weighed",
        target=weight,
        person=person,
        kg=str(kg),
        how=how,
        confirmed=confirmed,
    )
    afterwards("person_weighed", by=by, person=person, day=measured_on)
    return weight


@transaction.atomic
def circumstances_add(*, by: User, person: Person, asked_on: date, **answers: Any) -> Circumstances:
    """A dated screen of falls, sight, driving and help at home; what was not asked stays empty."""
    day_of_life("asked_on", "Asked on", asked_on, of=person)
    answered = sorted(
        name for name, value in answers.items() if value not in (None, "") and name != "falls_note"
    )
    if not answered:
        raise Refused("Nothing was answered: choose at least one answer, or leave the page.")
    if answers.get("falls_note") and answers.get("high_falls_risk") is None:
        raise Refused(
            "How the falls risk was judged is given but the risk itself was not asked.",
            field="high_falls_risk",
        )
    row = store(Circumstances(person=person, asked_on=asked_on, **answers), by=by)
    audit.record(by=by, site=person.site, verb="asked", target=row, person=person, answered=answered)
    return row
