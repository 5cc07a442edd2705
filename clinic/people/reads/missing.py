"""What a registered person's record still misses before a device or a plan can be chosen well, and the path
through it: the steps of registering in their order.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q

from clinic.models import (
    Amputation,
    Circumstances,
    Lesion,
    Limb,
    LimbFinding,
    Person,
    PersonState,
    PhotoConsent,
)

__all__ = ["ON_THE_PATH", "Missing", "missing_of", "next_step", "registering_steps", "still_missing"]

#: In the address of a page that was opened as a step of registering.
ON_THE_PATH = "registering"
#: Any of these says how well a foot is perfused.
_PERFUSION = ("toe_pressure_mmhg", "tcpo2_mmhg", "ankle_index", "toe_index", "ankle_pressure_mmhg")


@dataclass(frozen=True)
class Missing:
    """One step of registering: what is entered, and the page where it is."""

    words: str
    url_name: str
    pk: int
    done: bool = False
    #: Offered on the path, and no gap of a record: somebody may be followed without an ulcer.
    optional: bool = False


def registering_steps(person: Person) -> tuple[Missing, ...]:
    """Every step of a person's registering in order, those done too; none of a closed record (one query)."""
    if person.state != PersonState.IN_CARE:
        return ()
    measured = Q()
    for name in _PERFUSION:
        measured |= Q(**{f"{name}__isnull": False})
    limbs = Limb.objects.filter(person=person).annotate(
        screened=Exists(Circumstances.objects.filter(person=OuterRef("person"))),
        consented=Exists(PhotoConsent.objects.filter(person=OuterRef("person"))),
        with_ulcer=Exists(Lesion.objects.filter(limb__person=OuterRef("person"))),
        perfused=Exists(LimbFinding.objects.filter(measured, limb=OuterRef("pk"))),
    )
    feet = list(limbs.order_by("side"))
    there = [foot for foot in feet if foot.amputation != Amputation.MAJOR]
    steps = [
        Missing(f"foot length, {foot.side}", "limb_edit", foot.pk, foot.foot_length_mm is not None)
        for foot in there
    ]
    if feet:
        one, pk = feet[0], person.pk
        steps += [
            Missing("social and mobility", "circumstances_new", pk, one.screened),
            Missing("ulcer", "lesion_new", pk, one.with_ulcer, optional=True),
            Missing("photo consent", "photo_consent", pk, one.consented),
        ]
    steps += [Missing(f"perfusion, {foot.side}", "finding_new", foot.pk, foot.perfused) for foot in there]
    return tuple(steps)


def missing_of(steps: tuple[Missing, ...]) -> tuple[Missing, ...]:
    """What of the steps is a gap of the record."""
    return tuple(one for one in steps if not one.done and not one.optional)


def still_missing(person: Person) -> tuple[Missing, ...]:
    """The list in the order of registering; empty for a whole record, or one that is closed (one query)."""
    return missing_of(registering_steps(person))


def next_step(steps: tuple[Missing, ...], url_name: str = "", pk: int | None = None) -> Missing | None:
    """The first step that is not done, after the one that stands on this page; from the start elsewhere."""
    here = next((n for n, one in enumerate(steps) if (one.url_name, one.pk) == (url_name, pk)), -1)
    return next((one for one in steps[here + 1 :] if not one.done), None)
