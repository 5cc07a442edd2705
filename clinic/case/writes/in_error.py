"""An ulcer registered in error: it ends outside every figure, and what hung on it moves or is settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.devices.writes.decisions import decision_add, device_words, who
from clinic.devices.writes.leaving import device_leave
from clinic.lesions.states import ulcer_allowed
from clinic.lesions.writes.closure import end_episode_if_over
from clinic.lesions.writes.lesions import next_label
from clinic.models import (
    OPEN_STATES,
    AntibioticCourse,
    BoneJudgement,
    DecisionKind,
    DeviceLeft,
    Event,
    Lesion,
    LesionOutcome,
    LesionState,
    Limb,
    LimbPlan,
    Look,
    Measurement,
    NonHealingReview,
    PersonState,
    Photo,
    Prescription,
    Referral,
    Result,
    ReviewNote,
    User,
)
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.writes.setting_aside import plan_set_aside

__all__ = ["MOVES", "STAYS", "RightPlace", "lesion_in_error"]

#: What was found and done at the ulcer goes to the right one when asked.
MOVES: tuple[Any, ...] = (
    Measurement,
    Photo,
    Look,
    Referral,
    Result,
    AntibioticCourse,
    BoneJudgement,
    NonHealingReview,
    ReviewNote,
    Event,
)
#: An imprint is a place on the insole of the wrong foot; devices and plans are settled one by one.
STAYS: tuple[str, ...] = ("Imprint", "Prescription", "LimbPlan", "Lesion")


@dataclass(frozen=True)
class RightPlace:
    """Where the ulcer is in truth: one that is registered already, or a foot, a place or both; none of them
    where there never was one.
    """

    instead: Lesion | None = None
    limb: Limb | None = None
    place: str = ""

    @property
    def given(self) -> bool:
        return self.instead is not None or self.limb is not None or bool(self.place)


@transaction.atomic
def lesion_in_error(
    *,
    by: User,
    lesion: Lesion,
    because: str,
    right: RightPlace,
    findings_move: bool | None,
    device: str = "",
    device_by: str = "",
    expected_version: int,
) -> Lesion:
    """End it as registered in error, and give back the right ulcer, or the wrong one where there is none.

    `device`: "move" where it is worn on the right foot, "taken_off" (by whom in `device_by`); asked where a
    running device serves no other open ulcer. Plans that name the ulcer are set aside: they were drawn for
    the wrong place.
    """
    because = words_needed(because, "because")
    ulcer_allowed(lesion, "in_error")
    person = lesion.limb.person
    if person.state != PersonState.IN_CARE:
        raise Refused("The patient is not in care here: nothing of the record is moved.")
    if right.given and findings_move is None and _findings(lesion):
        raise Refused(
            "What was found and done there: does it belong to the correct ulcer, or stay with this entry?",
            field="findings",
        )
    place = _right_lesion(by, lesion, right)
    _relations(by, lesion, place)
    if place is not None and findings_move:
        _move(by, lesion, place)
    _plans(by, lesion, because)
    _devices(by, lesion, place, device, device_by)
    lesion.state, lesion.outcome = LesionState.ENDED, LesionOutcome.IN_ERROR
    lesion.error_because, lesion.instead = because, place
    lesion.ended_on, lesion.joined_into = timezone.localdate(), None
    store(lesion, by=by, expected_version=expected_version, why="registered in error")
    end_episode_if_over(lesion, by=by, on=lesion.ended_on)
    audit.record(
        by=by,
        site=person.site,
        verb="marked as registered in error",
        target=lesion,
        person=person,
        because=because,
        instead=place.pk if place else None,
        moved=bool(place and findings_move),
    )
    return place or lesion


def _findings(lesion: Lesion) -> bool:
    return any(model._default_manager.filter(lesion=lesion).exists() for model in MOVES)


def _right_lesion(by: User, lesion: Lesion, right: RightPlace) -> Lesion | None:
    """The ulcer that is registered already, or a new one with the days and the state of the wrong one."""
    if right.instead is not None:
        other = right.instead
        if right.limb is not None or right.place:
            raise Refused(
                "Choose an ulcer that is registered, or a foot and a place; not both.", field="instead"
            )
        if other.pk == lesion.pk or other.limb.person_id != lesion.limb.person_id:
            raise Refused("The correct ulcer: another one of the same patient.", field="instead")
        if other.outcome == LesionOutcome.IN_ERROR:
            raise Refused("The correct ulcer: that one was registered in error itself.", field="instead")
        return other
    if right.limb is None and not right.place:
        return None
    # Of the two what is not given is right as it stands: most often the foot alone was wrong.
    limb, place = right.limb or lesion.limb, right.place or lesion.place
    if limb.person_id != lesion.limb.person_id:
        raise Refused("The correct place: a foot of the same patient.", field="side")
    if (limb.pk, place) == (lesion.limb_id, lesion.place):
        raise Refused("The correct place is the place on record; nothing would change.", field="place")
    made = Lesion(
        episode=lesion.episode,
        limb=limb,
        label=next_label(lesion.episode),
        place=place,
        counts_for=lesion.counts_for,
        **{name: getattr(lesion, name) for name in _COPIED},
    )
    return store(made, by=by, why=f"in place of ulcer {lesion.label}, registered in error")


_COPIED = (
    "wound_kind",
    "cause",
    "onset_on",
    "first_seen_on",
    "state",
    "outcome",
    "closed_on",
    "confirmed_on",
    "reopened_on",
    "ended_on",
    "footwear",
)


def _relations(by: User, lesion: Lesion, place: Lesion | None) -> None:
    """Ulcers that came back, joined or split off it belong to the right one."""
    for name in ("recurs_of", "joined_into", "split_from", "instead"):
        for other in Lesion.objects.filter(**{name: lesion}):
            if place is None or place.pk == other.pk:
                raise Refused(
                    f"{other} is recorded as coming from this ulcer or going on from it; correct that first."
                )
            setattr(other, name, place)
            store(other, by=by, why="the ulcer it names was registered in error")


def _move(by: User, lesion: Lesion, place: Lesion) -> None:
    twice = Measurement.objects.filter(
        lesion=lesion, visit__in=Measurement.objects.filter(lesion=place).values("visit")
    ).select_related("visit")
    if both := twice.first():
        raise Refused(
            f"Both ulcers were measured at the visit of {both.visit.visited_on:%-d %b %Y}: they are two, or "
            "the findings stay with this entry.",
            field="findings",
        )
    for model in MOVES:
        for row in model._default_manager.filter(lesion=lesion).order_by("pk"):
            row.lesion = place
            if getattr(row, "limb_id", None):
                row.limb = place.limb
            store(row, by=by, why="moved: the ulcer was registered in error")


def _plans(by: User, lesion: Lesion, because: str) -> None:
    rows = LimbPlan.objects.filter(lesions=lesion, ended_on=None).exclude(plan__state="superseded")
    for link in rows.select_related("plan", "limb__person__site").distinct():
        plan_set_aside(
            by=by,
            limb_plan=link,
            ended_on=timezone.localdate(),
            because=f"ulcer {lesion.label} was registered in error: {because}"[:200],
        )


def _devices(by: User, lesion: Lesion, place: Lesion | None, choice: str, off_by: str) -> None:
    running = Prescription.objects.filter(lesions=lesion, stopped_on=None)
    for device in running.select_related("limb__person__site"):
        others = device.lesions.filter(state__in=OPEN_STATES).exclude(pk=lesion.pk)
        if others.exists():
            continue
        if choice == DeviceLeft.TAKEN_OFF:
            device_leave(
                by=by, prescription=device, how=choice, on=timezone.localdate(), with_whom=off_by.strip()
            )
        elif choice == "move" and place is not None:
            _device_moves(by, device, lesion, place)
        else:
            raise Refused(
                f"{device.get_device_class_display()} on the {device.limb.side} foot: is it worn for the "
                "correct ulcer, or was it taken off?",
                field="device",
            )


def _device_moves(by: User, device: Prescription, lesion: Lesion, place: Lesion) -> None:
    """It is on the right foot already, recorded on the wrong one; the signed words stay as they were."""
    if place.limb_id != device.limb_id:
        there = Prescription.objects.filter(limb=place.limb, stopped_on=None).exclude(pk=device.pk).first()
        if there is not None:
            raise Refused(
                f"On the {place.limb.side} foot runs {there} already; stop it first.", field="device"
            )
        device.limb = place.limb
    device.relief_plan = None
    store(device, by=by, why="worn for another ulcer than registered")
    device.lesions.add(place)
    store(device, by=by, why=f"serves ulcer {place.label}")
    today = timezone.localdate()
    decision_add(
        by=by,
        prescription=device,
        kind=DecisionKind.MOVED,
        on=today,
        sentence=f"On {today:%-d %b %Y} {who(by)}, recorded {device_words(device)} as worn on the "
        f"{place.limb.side} foot for ulcer {place.label}: ulcer {lesion.label}, {lesion.where}, was "
        "registered in error.",
    )
