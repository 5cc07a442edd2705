"""What two records must agree on before they become one, and what the one record takes over from the
other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, product
from string import ascii_uppercase
from typing import Any

from django.db.models import Q
from django.utils.formats import date_format

from clinic.models import (
    Amputation,
    Attendance,
    DiabetesType,
    Episode,
    Lesion,
    Limb,
    LimbPlan,
    Person,
    PhotoConsent,
    Prescription,
    Transfer,
    TransferState,
    Visit,
    VisitState,
)
from offload.models import PlanState

__all__ = ["Hindrance", "Labels", "filled_limb", "filled_person", "hindrances", "relabelled"]

ALLERGIES_LONGEST = 300
#: Fields of the person: what the kept record lacks is taken from the other one.
TAKEN = ("telephone", "second_contact", "language", "diabetes_type", "dialysis")


@dataclass(frozen=True)
class Hindrance:
    """What has to be settled first, and the page where it is settled."""

    words: str
    url_name: str = ""
    pk: int | str = 0


@dataclass
class Labels:
    """New letters of lesions whose letter both open episodes use, and what stands against it."""

    of: dict[int, str] = field(default_factory=dict)
    hindrances: list[Hindrance] = field(default_factory=list)


def _open_episode(person: Person) -> Episode | None:
    return Episode.objects.filter(person=person, ended_on=None).first()


def _letters() -> Iterator[str]:
    yield from chain(ascii_uppercase, map("".join, product(ascii_uppercase, repeat=2)))


def _named(lesions: list[Lesion]) -> set[int]:
    """Lesions that the sheets of a plan not replaced call by their letter."""
    keys = [lesion.pk for lesion in lesions]
    plans = LimbPlan.objects.filter(lesions__in=keys, ended_on=None).exclude(plan__state="superseded")
    return set(plans.values_list("lesions", flat=True))


def relabelled(kept: Person, emptied: Person) -> Labels:
    """Of two lesions of one letter, the one that a plan in force calls so keeps it; the other one gets
    the next free.
    """
    lesion_labels = Labels()
    here, there = _open_episode(kept), _open_episode(emptied)
    if here is None or there is None:
        return lesion_labels
    ours, theirs = list(here.lesions.select_related("limb")), list(there.lesions.select_related("limb"))
    named = _named([*ours, *theirs])
    by_label = {lesion.label: lesion for lesion in ours}
    taken = {lesion.label for lesion in (*ours, *theirs)}
    for lesion in theirs:
        rival = by_label.get(lesion.label)
        if rival is None:
            continue
        changing = lesion if lesion.pk not in named else rival
        if changing.pk in named:
            lesion_labels.hindrances.append(
                Hindrance(
                    f"Both records call an open ulcer {lesion.label}, and the sheets of a plan in force "
                    "name each of "
                    "them so: merge once one of the two has ended, or its plan "
                    "is replaced by one without it.",
                    "lesion",
                    lesion.pk,
                )
            )
            continue
        letter = next(one for one in _letters() if one not in taken)
        taken.add(letter)
        lesion_labels.of[changing.pk] = letter
    return lesion_labels


def filled_person(kept: Person, emptied: Person) -> dict[str, Any]:
    """What the kept record takes over: fields it lacks, an interpreter needed by either, the allergies of
    both.
    """
    blank = ("", None, DiabetesType.NOT_KNOWN)
    taken = {
        name: getattr(emptied, name)
        for name in TAKEN
        if getattr(kept, name) in blank and getattr(emptied, name) not in blank
    }
    if emptied.interpreter and not kept.interpreter:
        taken["interpreter"] = True
    theirs, ours = emptied.allergies.strip(), kept.allergies.strip()
    if theirs and theirs.casefold() not in ours.casefold():
        taken["allergies"] = f"{ours}; {theirs}" if ours else theirs
    return taken


def filled_limb(kept: Limb, emptied: Limb) -> dict[str, Any]:
    """What the kept foot takes over: an amputation and measures it lacks."""
    taken: dict[str, Any] = {
        name: getattr(emptied, name)
        for name in ("foot_length_mm", "foot_breadth_mm")
        if getattr(kept, name) is None and getattr(emptied, name) is not None
    }
    if kept.amputation == Amputation.NONE and emptied.amputation != Amputation.NONE:
        taken["amputation"] = emptied.amputation
    return taken


def _device_words(device: Prescription) -> str:
    if device.stays_closed and device.open_by:
        return f"{device}, sealed, to be opened by {date_format(device.open_by)}"
    return str(device)


def _sides(devices: Sequence[Prescription]) -> dict[str, Prescription]:
    return {device.limb.side: device for device in devices}


def _device_hindrances(kept: Sequence[Prescription], emptied: Sequence[Prescription]) -> Iterator[Hindrance]:
    ours, theirs = _sides(kept), _sides(emptied)
    for side in sorted(set(ours) & set(theirs)):
        both = (ours[side], theirs[side])
        sealed = [device for device in both if device.stays_closed]
        act = (
            "open and stop the one that is not on the foot" if len(sealed) == 2 else "stop one of them first"
        )
        yield Hindrance(
            f"Both have a running device on the {side} foot ({_device_words(both[0])}; "
            f"{_device_words(both[1])}): {act}.",
            "prescription",
            both[1].pk,
        )


def _plan_hindrances(kept: Person, emptied: Person) -> Iterator[Hindrance]:
    """One foot has one relief plan in force."""
    signed = LimbPlan.objects.filter(ended_on=None, plan__state=PlanState.SIGNED).select_related(
        "plan", "limb"
    )
    found = list(signed.filter(limb__person__in=[kept, emptied]).order_by("pk"))
    ours = {row.limb.side: row.plan for row in found if row.limb.person_id == kept.pk}
    for row in found:
        if row.limb.person_id == emptied.pk and row.limb.side in ours:
            yield Hindrance(
                f"Both have a relief plan in force for the {row.limb.side} foot ({ours[row.limb.side]}; "
                f"{row.plan}): set the one aside by which the foot is not treated.",
                "plan",
                row.plan.code,
            )


def _limb_hindrances(kept: Person, emptied: Person) -> Iterator[Hindrance]:
    feet = {limb.side: limb for limb in kept.limbs.all()}
    for limb in emptied.limbs.all():
        mine = feet.get(limb.side)
        gone = {limb.amputation, mine.amputation if mine else Amputation.NONE} - {Amputation.NONE}
        if len(gone) == 2:
            yield Hindrance(
                f"The amputation of the {limb.side} foot is not the same in both: correct the wrong one "
                "first.",
                "limb_edit",
                limb.pk,
            )


def _consent_hindrances(kept: Person, emptied: Person) -> Iterator[Hindrance]:
    latest = [PhotoConsent.objects.filter(person=one).first() for one in (kept, emptied)]
    for one, other in (latest, latest[::-1]):
        if (
            one
            and other
            and one.withdrawn_on
            and not other.withdrawn_on
            and one.withdrawn_on >= other.given_on
        ):
            yield Hindrance(
                f"Photo consent was withdrawn on {date_format(one.withdrawn_on)} in one record and stands in "
                "the "
                "other: ask the patient, and enter the answer in both.",
                "photo_consent",
                other.person_id,
            )


def _record_hindrances(kept: Person, emptied: Person) -> Iterator[Hindrance]:
    for person in (kept, emptied):
        if person.merged_into_id:
            yield Hindrance(f"No. {person.record_number} was merged into another record already.")
        if person.restricted_on:
            yield Hindrance(
                f"No. {person.record_number} is restricted since {date_format(person.restricted_on)}: a "
                "manager can "
                "lift the restriction."
            )
    if kept.site_id != emptied.site_id:
        yield Hindrance("The records are at two clinics: transfer one of them first.")
    if kept.state != emptied.state:
        yield Hindrance(
            f"One is {kept.get_state_display().lower()}, the other {emptied.get_state_display().lower()}: "
            "bring both "
            "to the same state first.",
            "person_state",
            emptied.pk,
        )
    waits = Transfer.objects.filter(person__in=[kept, emptied], state=TransferState.ASKED).first()
    if waits:
        yield Hindrance(
            "A transfer to another clinic waits for its answer: withdraw it first.", "transfer", waits.pk
        )
    if len(filled_person(kept, emptied).get("allergies", "")) > ALLERGIES_LONGEST:
        yield Hindrance(
            f"The allergies of both together are longer than {ALLERGIES_LONGEST} characters: shorten one "
            "first.",
            "person_edit",
            kept.pk,
        )


def _visit_hindrances(kept: Person, emptied: Person) -> Iterator[Hindrance]:
    came = Q(state=VisitState.STANDS, attendance=Attendance.CAME)
    ours = Visit.objects.filter(came, person=kept).values("visited_on")
    for visit in Visit.objects.filter(came, person=emptied, visited_on__in=ours).order_by("visited_on"):
        yield Hindrance(
            f"Both have a visit on {date_format(visit.visited_on)}: mark one of them as entered in error, or "
            "correct "
            "its date, first.",
            "visit",
            visit.pk,
        )


def hindrances(
    kept: Person,
    emptied: Person,
    devices: tuple[Sequence[Prescription], Sequence[Prescription]],
    labels: Labels,
) -> tuple[Hindrance, ...]:
    """Everything that has to be settled first; `devices` are the running ones of each record."""
    return (
        *_record_hindrances(kept, emptied),
        *_device_hindrances(*devices),
        *_plan_hindrances(kept, emptied),
        *_visit_hindrances(kept, emptied),
        *_limb_hindrances(kept, emptied),
        *_consent_hindrances(kept, emptied),
        *labels.hindrances,
    )
