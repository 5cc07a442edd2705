"""Registering a lesion in its episode, and correcting what was registered."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import chain, count, product
from string import ascii_uppercase
from typing import Any

from django.db import transaction
from django.utils.formats import date_format

from clinic.guidelines.due import reopens_until
from clinic.lesions.states import ulcer_allowed
from clinic.models import (
    OPEN_STATES,
    Episode,
    Lesion,
    LesionState,
    Limb,
    Measurement,
    User,
    VisitState,
)
from clinic.people.writes.people import day_of_life
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_allowed
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["lesion_correct", "lesion_register", "next_label"]


def _letters() -> Iterator[str]:
    yield from chain(ascii_uppercase, map("".join, product(ascii_uppercase, repeat=2)))


def next_label(episode: Episode, recurs_of: Lesion | None = None) -> str:
    """The next free letter of an episode; one that came back keeps its letter with a number: A, A2."""
    taken = set(episode.lesions.values_list("label", flat=True))
    if recurs_of is None:
        return next(letter for letter in _letters() if letter not in taken)
    letter = recurs_of.label.rstrip("0123456789")
    first = int(recurs_of.label[len(letter) :] or 1) + 1
    return next(f"{letter}{n}" for n in count(first) if f"{letter}{n}" not in taken)


def _in_order(field: str, late: str, late_day: date, early: str, early_day: date) -> None:
    if late_day < early_day:
        raise Refused(
            f"{late} was given as {date_format(late_day)}; it cannot lie before {early}, "
            f"{date_format(early_day)}.",
            field=field,
        )


def _check_days(lesion: Lesion) -> None:
    person = lesion.limb.person
    day_of_life("onset_on", "Began on", lesion.onset_on, of=person)
    day_of_life("first_seen_on", "First seen on", lesion.first_seen_on, of=person)
    _in_order("first_seen_on", "First seen on", lesion.first_seen_on, "the day it began", lesion.onset_on)


def _episode(*, by: User, limb: Limb, episode: dict[str, Any] | None) -> tuple[Episode, bool]:
    """The person's open episode, or a new one from the three answers."""
    found = Episode.objects.filter(person=limb.person, ended_on__isnull=True).first()
    if found is not None:
        return found, False
    if not episode:
        raise Refused("This is the first ulcer of a new episode: enter when it was first presented.")
    presented, assessed = episode["first_presented_on"], episode["first_assessed_on"]
    day_of_life("first_presented_on", "First presented on", presented, of=limb.person)
    day_of_life("first_assessed_on", "First expert assessment", assessed, of=limb.person)
    _in_order("first_assessed_on", "First expert assessment", assessed, "the first presentation", presented)
    made = Episode(
        person=limb.person,
        first_presented_on=presented,
        first_assessed_on=assessed,
        referred_by=episode.get("referred_by", ""),
    )
    return store(made, by=by), True


def _check_same_place(lesion: Lesion, another_here: bool) -> None:
    standing = Lesion.objects.filter(limb=lesion.limb, place=lesion.place, state__in=OPEN_STATES).first()
    if standing is not None and not another_here:
        raise Refused(
            f"{standing} is {standing.get_state_display().lower()} at this very place. Tick that this is "
            "another wound, or open that ulcer instead.",
            field="another_here",
        )


def _check_recurrence(lesion: Lesion, answered: bool) -> None:
    before = list(
        Lesion.objects.filter(limb=lesion.limb, place=lesion.place, state=LesionState.HEALED)
        .select_related("limb")
        .order_by("-confirmed_on")
    )
    if lesion.recurs_of is None:
        if before and not answered:
            raise Refused(
                f"{before[0]} healed here on {before[0].confirmed_on:%-d %b %Y}. Say whether it has come "
                "back "
                "or this is a new ulcer.",
                field="recurs_of",
            )
        return
    ulcer_allowed(lesion.recurs_of, "recur", field="recurs_of")
    if lesion.recurs_of not in before:
        raise Refused(
            "Only an ulcer that healed at the same place of the same foot can have come back.",
            field="recurs_of",
        )
    closed_on = lesion.recurs_of.closed_on
    days = lesion.limb.person.site.reopen_days
    # A healed lesion always has its day of closure (a database constraint holds it).
    if closed_on and lesion.first_seen_on <= reopens_until(closed_on, days):
        raise Refused(
            f"{lesion.recurs_of} closed on {date_format(closed_on)}. Open again within {days} days it is the "
            "same "
            "ulcer (house rule): reopen it instead.",
            field="recurs_of",
        )


@transaction.atomic
def lesion_register(
    *,
    by: User,
    limb: Limb,
    place: str,
    wound_kind: str,
    cause: str,
    onset_on: date,
    first_seen_on: date,
    episode: dict[str, Any] | None = None,
    recurs_of: Lesion | None = None,
    recurrence_answered: bool = False,
    another_here: bool = False,
    split_from: Lesion | None = None,
) -> Lesion:
    """A new lesion under the next free letter; opens the episode when none is open."""
    person_allowed(limb.person, "care")
    within, opened = _episode(by=by, limb=limb, episode=episode)
    lesion = Lesion(
        episode=within,
        limb=limb,
        label=next_label(within, recurs_of),
        place=place,
        wound_kind=wound_kind,
        cause=cause,
        onset_on=onset_on,
        first_seen_on=first_seen_on,
        recurs_of=recurs_of,
        split_from=split_from,
    )
    _check_days(lesion)
    if split_from is None:
        _check_same_place(lesion, another_here)
    else:
        ulcer_allowed(split_from, "split", field="split_from")
    if split_from is not None and split_from.limb_id != limb.pk:
        raise Refused("Split off: only from an open ulcer of the same foot.", field="split_from")
    _check_recurrence(lesion, recurrence_answered)
    store(lesion, by=by)
    audit.record(
        by=by,
        site=limb.person.site,
        verb="registered",
        target=lesion,
        person=limb.person,
        label=lesion.label,
        place=place,
        side=limb.side,
        episode_opened=opened,
        recurs_of=recurs_of.pk if recurs_of else None,
        split_from=split_from.pk if split_from else None,
    )
    return lesion


def _check_side_free(lesion: Lesion) -> None:
    if lesion.prescriptions.exists() or lesion.relief_plans.exists() or lesion.imprints.exists():
        raise Refused(
            "This ulcer already has a device, a relief plan or an imprint on this foot: end it with the "
            "reason and "
            "register it on the other foot.",
            field="side",
        )


@transaction.atomic
def lesion_correct(
    *,
    by: User,
    lesion: Lesion,
    limb: Limb,
    why: str,
    expected_version: int,
    **fields: Any,
) -> Lesion:
    """Correct where the lesion is, what it is and when it began, with the reason."""
    if not why.strip():
        raise Refused("A correction needs its reason.", field="why")
    ulcer_allowed(lesion, "correct")
    if limb.person_id != lesion.limb.person_id:
        raise Refused("An ulcer cannot move to another patient.", field="side")
    changed = [name for name, value in fields.items() if getattr(lesion, name) != value]
    if limb.pk != lesion.limb_id:
        _check_side_free(lesion)
        lesion.limb = limb
        changed.append("side")
    for name, value in fields.items():
        setattr(lesion, name, value)
    if not changed and expected_version == lesion.version:
        raise Refused("Nothing was changed.")
    if lesion.recurs_of is not None and (
        lesion.recurs_of.limb_id != lesion.limb_id or lesion.recurs_of.place != lesion.place
    ):
        raise Refused(
            f"This ulcer is recorded as {lesion.recurs_of} come back; it must stay at that place.",
            field="place",
        )
    _check_days(lesion)
    first = (
        Measurement.objects.filter(lesion=lesion, visit__state=VisitState.STANDS)
        .order_by("visit__visited_on")
        .values_list("visit__visited_on", flat=True)
        .first()
    )
    if first is not None:
        _in_order(
            "first_seen_on", "The first measurement", first, "the day it was first seen", lesion.first_seen_on
        )
    store(lesion, by=by, expected_version=expected_version, why=why.strip())
    audit.record(
        by=by,
        site=limb.person.site,
        verb="corrected",
        target=lesion,
        person=limb.person,
        fields=sorted(changed),
        why=why.strip(),
    )
    return lesion
