"""The imprint of a lesion on the insole: from a trace on a photo of the insole, or from typed numbers."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from hashlib import sha256
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from shapely.geometry import Polygon

from clinic.capture.reads.traces import path_of
from clinic.capture.writes.measurement import parts_of
from clinic.evidence.reads.raising import is_urgent
from clinic.evidence.reads.standing import standing_of
from clinic.lesions.states import ulcer_allowed
from clinic.models import Imprint, ImprintHow, Lesion, PhotoSubject, PlacedBy, Trace, User
from clinic.people.reads.limbs import insole_of_limb
from clinic.record.errors import Refused
from clinic.record.lifecycle import allowed, person_allowed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.reads.imprints import Overlay
from clinic.relief.states import imprint_state
from clinic.relief.writes.watch import plans_review
from offload.core.shapes.imprint import (
    LARGEST_HOLE_MISFIT,
    LARGEST_LENGTH_OFF,
    LARGEST_MISFIT,
    ImprintError,
    LengthError,
    Placing,
    place_by_holes,
    place_by_landmarks,
    place_by_outline,
)
from offload.core.shapes.insole import Insole

__all__ = [
    "HOLE_MARKS",
    "MARKS",
    "imprint_by_trace",
    "imprint_place",
    "imprint_typed",
    "insole_of_lesion",
    "looked_at",
    "not_now",
    "side_doubt",
]

#: The marks of placing by landmarks, in the order they are tapped.
MARKS = ("heel", "second_toe", "big_toe")
HOLE_MARKS = ("rear_hole", "front_hole", "big_toe")
Point = tuple[float, float]


def insole_of_lesion(lesion: Lesion) -> Insole:
    """The insole drawn for this limb; refused while the foot's length is not on record."""
    limb = lesion.limb
    if not lesion.foot_site.insole_plan:
        raise Refused(f"Ulcer {lesion.label} does not bear on an insole, so it leaves no imprint there.")
    insole = insole_of_limb(limb)
    if insole is None:
        raise Refused("Foot length: not recorded; the insole is drawn from it. Record it first.")
    return insole


def not_now(lesion: Lesion) -> str:
    """Why no imprint is taken of this lesion today; empty when nothing on record speaks against it.

    Common practice, no source: nobody is asked to walk on an infected or untreated foot, or unsteadily, for a
    print.
    """
    foot = standing_of(lesion.limb, timezone.localdate())
    against = next((one for one in foot.dangers if is_urgent(one) or one.id == "bone"), None)
    if against is not None:
        return against.words
    if lesion.limb.person.red_flags.standing().filter(answer="").exists():
        return "A red flag of this patient is not answered yet."
    newest = lesion.limb.person.circumstances.order_by("-asked_on", "-pk").first()
    if newest is not None and newest.high_falls_risk:
        return "High risk of falls on record: unsteady."
    return ""


def side_doubt(lesion: Lesion, insole: Insole, outline: tuple[Point, ...]) -> str:
    """A sentence when the imprint lies on the other half of the foot than the site's name says."""
    place = lesion.foot_site.id
    across = float(np.mean([x for x, _ in outline]))
    along = float(np.mean([y for _, y in outline]))
    inner = place in ("mth_1", "plantar_hallux")
    outer = place in ("mth_5", "mth_4")
    if along > insole.foot_length / 2 and ((inner and across > 8.0) or (outer and across < -8.0)):
        lies = "little-toe" if inner else "big-toe"
        return (
            f"The imprint lies {abs(across):.0f} mm to the {lies} side, but the ulcer is recorded at "
            f"{lesion.foot_site.words.lower()}. Is this the other foot's insole, or another ulcer?"
        )
    return ""


def imprint_place(
    *,
    lesion: Lesion,
    trace: Trace,
    placed_by: str,
    marks: dict[str, Point],
    insole_trace: Trace | None = None,
) -> tuple[tuple[Point, ...], Placing]:
    """The traced imprint in the insole's frame, without keeping it."""
    insole = insole_of_lesion(lesion)
    outline = parts_of(trace.outline_mm)[0][0]
    try:
        if placed_by == PlacedBy.LANDMARKS:
            missing = [name for name in MARKS if name not in marks]
            if missing:
                raise Refused(f"Marks: {missing[0].replace('_', ' ')} is missing.", field="marks")
            placing = place_by_landmarks(insole, lesion.limb.side, *(marks[name] for name in MARKS))
        elif placed_by == PlacedBy.HOLES:
            missing = [name for name in HOLE_MARKS if name not in marks]
            if missing:
                raise Refused(f"Marks: {missing[0].replace('_', ' ')} is missing.", field="marks")
            placing = place_by_holes(lesion.limb.side, *(marks[name] for name in HOLE_MARKS))
        elif placed_by == PlacedBy.OUTLINE:
            if insole_trace is None:
                raise Refused("Outline of the insole: not traced yet.", field="placed_by")
            placing = place_by_outline(insole, lesion.limb.side, parts_of(insole_trace.outline_mm)[0][0])
        else:
            raise Refused(
                "Placing: say by landmarks, by the holes of the sheet or by the insole's outline.",
                field="placed_by",
            )
    except LengthError as fault:
        raise Refused(_sentence(fault), field="placed_by") from fault
    except ImprintError as fault:
        raise Refused(_sentence(fault), field="marks") from fault
    placed = placing.to_insole(outline)
    _on_insole_check(insole, placed)
    return placed, placing


def looked_at(
    *,
    lesion: Lesion,
    trace: Trace,
    placed_by: str,
    marks: dict[str, Point],
    insole_trace: Trace | None = None,
) -> Overlay:
    """What is to be seen before an imprint is kept: the insole over the photo, and how far the two differ."""
    placed, placing = imprint_place(
        lesion=lesion, trace=trace, placed_by=placed_by, marks=marks, insole_trace=insole_trace
    )
    insole = insole_of_lesion(lesion)
    which = "this insole's own outline" if insole.traced else "the insole drawn from the foot's length"
    words = f"Misfit {placing.misfit:.1f} mm"
    if placed_by == PlacedBy.HOLES:
        words += f" between the two holes (limit {LARGEST_HOLE_MISFIT:g} mm)."
    elif placed_by == PlacedBy.OUTLINE and insole.traced:
        words += f" of the traced edge against {which} (limit {LARGEST_MISFIT:g} mm)."
    else:
        off = placing.length_off
        words = (
            f"The photographed insole is {abs(off):.1f} mm {'longer' if off >= 0 else 'shorter'} than "
            f"{which} (limit {LARGEST_LENGTH_OFF:g} mm); the ulcer lies at its own distance from the heel."
        )
    token = sha256(repr([[round(v, 1) for v in at] for at in placed]).encode()).hexdigest()[:16]
    return Overlay(path_of([placing.to_photo(insole.outline.exterior)]), words, token)


def _sentence(fault: ImprintError) -> str:
    words = str(fault)
    return f"{words[0].upper()}{words[1:]}."


def _on_insole_check(insole: Insole, outline: tuple[Point, ...]) -> None:
    off = float(Polygon(outline).difference(insole.outline.polygon).area)
    if off > 1e-6:
        raise Refused(
            f"Imprint: {off:.0f} mm² of it lie off the insole; it must lie wholly on it. Check the marks.",
            field="marks",
        )


@transaction.atomic
def imprint_by_trace(
    *,
    by: User,
    lesion: Lesion,
    trace: Trace,
    placed_by: str,
    marks: dict[str, Point],
    insole_trace: Trace | None = None,
    dressing_mm: Decimal | None,
    side_confirmed: bool = False,
    note: str = "",
) -> Imprint:
    """Keep a traced imprint; a doubt about side or place must be answered first."""
    if trace.scale.photo.subject != PhotoSubject.INSOLE:
        raise Refused("This trace is of the ulcer itself; an imprint is traced on a photo of the insole.")
    placed, placing = imprint_place(
        lesion=lesion, trace=trace, placed_by=placed_by, marks=marks, insole_trace=insole_trace
    )
    doubt = side_doubt(lesion, insole_of_lesion(lesion), placed)
    if doubt and not side_confirmed:
        raise Refused(doubt, field="side_confirmed")
    return _keep(
        by,
        lesion,
        day=trace.scale.photo.taken_on,
        how=ImprintHow.TRACED,
        outline=[[round(x, 2), round(y, 2)] for x, y in placed],
        dressing_mm=dressing_mm,
        note=note,
        scale=trace.scale,
        placed_by=placed_by,
        marks_mm={name: [round(v, 2) for v in at] for name, at in marks.items()} or None,
        misfit_mm=round(placing.misfit, 1),
    )


@transaction.atomic
def imprint_typed(
    *,
    by: User,
    lesion: Lesion,
    taken_on: date,
    centre: Point,
    length_mm: float,
    width_mm: float,
    angle_deg: float = 0.0,
    dressing_mm: Decimal | None = None,
    side_confirmed: bool = False,
    note: str = "",
) -> Imprint:
    """Keep an imprint told by numbers: its centre on the insole, length, width and turn."""
    if taken_on > timezone.localdate():
        raise Refused(f"Taken on: {date_format(taken_on)} lies in the future.", field="taken_on")
    if width_mm > length_mm:
        raise Refused(
            f"Width: {width_mm:g} mm given; it cannot exceed the length, {length_mm:g} mm.", field="width_mm"
        )
    insole = insole_of_lesion(lesion)
    turn = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    u, v = width_mm / 2 * np.cos(turn), length_mm / 2 * np.sin(turn)
    ring = tuple(
        (float(x), float(y))
        for x, y in zip(centre[0] + u * c - v * s, centre[1] + u * s + v * c, strict=True)
    )
    _on_insole_check(insole, ring)
    doubt = side_doubt(lesion, insole, ring)
    if doubt and not side_confirmed:
        raise Refused(doubt, field="side_confirmed")
    outline = [[round(x, 2), round(y, 2)] for x, y in ring]
    return _keep(
        by, lesion, day=taken_on, how=ImprintHow.TYPED, outline=outline, dressing_mm=dressing_mm, note=note
    )


def _keep(
    by: User,
    lesion: Lesion,
    *,
    day: date,
    how: str,
    outline: list[Any],
    misfit_mm: float | None = None,
    **more: Any,
) -> Imprint:
    person = lesion.limb.person
    person_allowed(person, "care")
    ulcer_allowed(lesion, "imprint")
    last = lesion.imprints.order_by("-taken_on", "-pk").first()
    if last is not None and (last.outline_mm, last.how, last.taken_on) == (outline, how, day):
        return last  # the same form sent again
    allowed("imprint", imprint_state(last), "take")
    imprint = store(Imprint(lesion=lesion, taken_on=day, how=how, outline_mm=outline, **more), by=by)
    audit.record(
        by=by,
        site=person.site,
        verb="added",
        target=imprint,
        person=person,
        how=how,
        placed_by=imprint.placed_by,
        misfit_mm=misfit_mm,
    )
    plans_review(by=by, person=person, day=day)
    return imprint
