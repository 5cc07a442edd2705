"""Correcting a weight, and withdrawing one."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db import transaction

from clinic.models import User, Weight
from clinic.people.writes.people import day_of_life
from clinic.record.afterwards import afterwards
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check, withdraw

__all__ = ["weight_change", "weight_correct", "weight_withdraw"]


def weight_change(
    weight: Weight,
    *,
    by: User,
    kg: Decimal,
    how: str,
    measured_on: date,
    reason: str,
    expected_version: int | None = None,
) -> Weight:
    """Put other values on a weight; audit row and what follows are the caller's."""
    standing_check(weight)
    day_of_life("measured_on", "Weighed on", measured_on, of=weight.person)
    weight.kg, weight.how, weight.measured_on = kg, how, measured_on
    return store(weight, by=by, expected_version=expected_version, why=words_needed(reason, "reason")[:100])


@transaction.atomic
def weight_correct(
    *,
    by: User,
    weight: Weight,
    kg: Decimal,
    how: str,
    measured_on: date,
    reason: str,
    expected_version: int,
    confirmed: str = "",
) -> Weight:
    """Correct a weight; one of a visit keeps the visit's day, which is corrected there."""
    if weight.visit is not None and measured_on != weight.measured_on:
        raise Refused(
            f"Weighed on: this weight was taken at the visit of {weight.measured_on:%-d %b %Y}; correct the "
            "day of the visit, and its weight goes along.",
            field="measured_on",
        )
    weight_change(
        weight,
        by=by,
        kg=kg,
        how=how,
        measured_on=measured_on,
        reason=reason,
        expected_version=expected_version,
    )
    _told(by, weight, "corrected", reason, confirmed=confirmed)
    return weight


@transaction.atomic
def weight_withdraw(*, by: User, weight: Weight, reason: str, expected_version: int | None = None) -> Weight:
    """The weight counts no more: the one before it is the newest again."""
    withdraw(weight, by=by, reason=reason, expected_version=expected_version)
    _told(by, weight, "withdrew", reason)
    return weight


def _told(by: User, weight: Weight, verb: str, reason: str, confirmed: str = "") -> None:
    person = weight.person
    audit.record(
        by=by,
        site=person.site,
        verb=verb,
        target=weight,
        person=person,
        reason=reason.strip(),
        confirmed=confirmed,
    )
    afterwards("weight_changed", by=by, person=person, reason=f"weight {verb}", day=weight.measured_on)
