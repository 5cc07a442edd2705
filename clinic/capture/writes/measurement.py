"""What was found at one lesion, as a row: the area by planimetry, and the infection grade."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import IO, Any

from clinic.capture.reads.infection import infection_look
from clinic.capture.reads.unchanged import DESCRIBED
from clinic.capture.writes.unchanged import unchanged_fill
from clinic.guidelines.standing_findings import StandingSettings
from clinic.models import INFECTION_SIGNS, AreaMethod, Debridement, Lesion, Measurement, Trace, UlcerFindings
from clinic.people.reads.perfusion import standing_settings
from clinic.record.errors import Refused
from offload.core.errors import OutlineError
from offload.core.intake import Bounds, IntakeError, json_value
from offload.core.shapes.outline import Outline, Planimetry, ellipse_area, planimetry

__all__ = [
    "LARGEST_DIAMETER_MM",
    "AreaTold",
    "LesionFindings",
    "WoundArea",
    "flags_in",
    "infection_of",
    "measurement_fill",
    "outline_planimetry",
    "outline_read",
    "parts_of",
    "redness_check",
    "wound_area",
]

LARGEST_DIAMETER_MM = Decimal(300)
Points = tuple[tuple[float, float], ...]
#: Parts of a wound, each an outer ring followed by its holes.
Parts = tuple[tuple[Points, ...], ...]
MOST_PARTS, MOST_POINTS = 30, 6000
OUTLINE = Bounds(characters=400_000, values=2 * MOST_POINTS + 1, depth=4)
#: In pixels or mm, design choice: ten times the largest photo.
FARTHEST = 100_000.0


@dataclass(frozen=True, kw_only=True)
class AreaTold:
    """The area of a lesion as it was told: one of four ways, and before or after debridement."""

    covered_dry: bool = False
    outline_mm: Points | Parts = ()
    length_mm: Decimal | None = None
    width_mm: Decimal | None = None
    not_measured_because: str = ""
    debridement: str = ""


@dataclass(frozen=True, kw_only=True)
class LesionFindings(UlcerFindings, AreaTold):
    """One lesion at one visit, as told by the person who looked."""

    lesion: Lesion
    trace: Trace | None = None
    photo: IO[bytes] | None = None
    #: Wound bed, edge and dressing as at the last visit.
    unchanged: bool = False
    version: int | None = None


@dataclass(frozen=True)
class WoundArea:
    """The area of one lesion and how it was found; the area is None when it could not be measured."""

    method: str
    debridement: str
    area_mm2: float | None
    length_mm: Decimal | None = None
    width_mm: Decimal | None = None
    outline_mm: Points | Parts = ()

    @property
    def area_cm2(self) -> float | None:
        return None if self.area_mm2 is None else self.area_mm2 / 100


def wound_area(found: AreaTold, last: Measurement | None = None) -> WoundArea:
    """Area of a lesion by the one way it was told; refuse none or several ways at once.

    A covered and dry lesion has the area 0 by finding, not by a method: it continues the method and the
    debridement state of the last measured area, so that the healing curve is not broken by it.
    """
    by_ruler = found.length_mm is not None or found.width_mm is not None
    because = found.not_measured_because.strip()
    ways = [
        name
        for name, used in (
            ("covered and dry", found.covered_dry),
            ("an outline", bool(found.outline_mm)),
            ("length and width", by_ruler),
            ("not measurable because", bool(because)),
        )
        if used
    ]
    if not ways:
        raise Refused(
            "Area: nothing given. Give length and width, or an outline, or tick covered and dry, or say why "
            "it is not measurable.",
            field="length_mm",
        )
    if len(ways) > 1:
        raise Refused(f"Area: given as {' and as '.join(ways)}; give one of them.", field="length_mm")
    if found.covered_dry:
        measured = last if last is not None and last.area_mm2 is not None else None
        return WoundArea(
            method=measured.method if measured else AreaMethod.TRACED,
            debridement=measured.debridement if measured else Debridement.BEFORE,
            area_mm2=0.0,
        )
    if because:
        return WoundArea(AreaMethod.NOT_MEASURED, found.debridement or Debridement.BEFORE, None)
    if found.debridement not in Debridement.values:
        raise Refused(
            "Measured before or after debridement: not said. Areas before and after are never compared.",
            field="debridement",
        )
    if by_ruler:
        return _by_ruler(found)
    return _by_outline(found)


def _by_ruler(found: AreaTold) -> WoundArea:
    length = _diameter("Length", "length_mm", found.length_mm)
    width = _diameter("Width", "width_mm", found.width_mm)
    if width > length:
        raise Refused(
            f"Width: {width} mm given; it cannot exceed the length, {length} mm, the longest diameter.",
            field="width_mm",
        )
    area = ellipse_area(float(length), float(width))
    return WoundArea(AreaMethod.ELLIPSE, found.debridement, round(area, 2), length, width)


def _diameter(name: str, field: str, value: Decimal | None) -> Decimal:
    if value is None:
        raise Refused(f"{name}: missing; both length and width are needed.", field=field)
    if not 0 < value <= LARGEST_DIAMETER_MM:
        raise Refused(
            f"{name}: {value} mm given; above 0 and at most {LARGEST_DIAMETER_MM} mm is allowed.", field=field
        )
    return value


def parts_of(outline: Any) -> Parts:
    """An outline as parts, each a ring and its holes; a plain list of points is one part without holes.

    Points are counted before any is read.
    """
    if not outline:
        return ()
    try:
        plain = isinstance(outline[0][0], int | float)
        parts = [[outline]] if plain else [part for part in outline if part]
        _refuse_many(len(parts), sum(len(ring) for part in parts for ring in part))
        return tuple(tuple(tuple(_point(x, y) for x, y in ring) for ring in part) for part in parts)
    except (TypeError, ValueError, OverflowError, IndexError, KeyError) as fault:
        raise Refused(
            "Outline: not a list of points; [[x, y], …], or parts with holes, "
            "[[ring, hole, …], …], is needed.",
            field="outline",
        ) from fault


def outline_read(text: str) -> Parts:
    """An outline as a page sends it, in JSON; its points are counted before one is parsed."""
    points = (text.count(",") + 1) // 2
    if points > MOST_POINTS:
        _refuse_many(1, points)
    try:
        return parts_of(json_value(text, OUTLINE))
    except IntakeError as fault:
        raise Refused(
            f"Outline: not a list of points: {fault}; [[x, y], [x, y], …] in mm is needed.", field="outline"
        ) from fault


def _point(x: Any, y: Any) -> tuple[float, float]:
    if isinstance(x, bool | str) or isinstance(y, bool | str):
        raise TypeError("a point is two numbers")
    point = (float(x), float(y))
    if not all(abs(value) <= FARTHEST for value in point):
        raise Refused(
            f"Outline: a point at {point[0]:g}, {point[1]:g}; finite numbers up to {FARTHEST:g} are taken.",
            field="outline",
        )
    return point


def _refuse_many(parts: int, points: int) -> None:
    if parts > MOST_PARTS or points > MOST_POINTS:
        raise Refused(
            f"Outline: {parts} parts with {points} points; "
            f"at most {MOST_PARTS} parts and {MOST_POINTS} points.",
            field="outline",
        )


def outline_planimetry(outline: Any) -> Planimetry:
    """Area, perimeter, length and width of a traced outline: the one place where wounds are measured."""
    parts = parts_of(outline)
    try:
        named = [f"part {i + 1}" if len(parts) > 1 else "outline" for i in range(len(parts))]
        return planimetry(
            [Outline(part[0], tuple(part[1:]), name) for part, name in zip(parts, named, strict=True)]
        )
    except OutlineError as fault:
        sentence = str(fault)
        raise Refused(f"{sentence[0].upper()}{sentence[1:]}.", field="outline") from fault


def _by_outline(found: AreaTold) -> WoundArea:
    traced = outline_planimetry(found.outline_mm)
    if traced.length > LARGEST_DIAMETER_MM:
        raise Refused(
            f"Outline: {traced.length:.0f} mm long; at most {LARGEST_DIAMETER_MM} mm is allowed.",
            field="outline",
        )
    return WoundArea(
        AreaMethod.TRACED,
        found.debridement,
        round(traced.area, 2),
        _tenth(traced.length),
        _tenth(traced.width),
        found.outline_mm,
    )


def _as_stored(outline: Points | Parts) -> list[Any] | None:
    """One part without holes is stored as its points, anything else as parts."""
    parts = parts_of(outline)
    if not parts:
        return None
    nested = [[[list(point) for point in ring] for ring in part] for part in parts]
    return nested[0][0] if len(nested) == 1 and len(nested[0]) == 1 else nested


def _trace_of(found: LesionFindings) -> Trace | None:
    """The trace an outline came from, as long as the outline is still that one."""
    trace = found.trace
    if trace is None or trace.scale.photo.lesion_id != found.lesion.pk:
        return None
    return trace if parts_of(trace.outline_mm) == parts_of(found.outline_mm) else None


def _tenth(value: float) -> Decimal:
    return Decimal(value).quantize(Decimal("0.1"))


def infection_of(row: Measurement, settings: StandingSettings) -> int | None:
    """Infection grade of one look by the standing rules; None when nobody looked or a finding leaves it open.

    "Fever or unwell" that nobody measured leaves severe infection open, and no grade is stored; its red flag
    is raised all the same. It is a copy for the curve and the lists: what stands is read from
    `clinic.evidence.reads.standing`.
    """
    if not row.infection_looked:
        return None
    look = infection_look(row, settings)
    grade = max(look.grade, 3) if look.bone in ("probable", "proven") else look.grade
    # Four measured signs answer it; told and not measured it stays open, unless the worst is known.
    if grade < 4 and (look.open or (look.unwell and not look.systemic)):
        return None
    return grade


def flags_in(row: Measurement, *, bone_before: bool) -> set[str]:
    """Red flags that a lesion's own findings say, whatever was answered to the questions."""
    flags = set()
    if row.unwell:
        flags.add("fever_or_unwell")
    if row.probe_to_bone and not bone_before:
        flags.add("new_probe_to_bone")
    if row.infection_grade is not None and row.infection_grade >= 3:
        flags.add("infection_3_4_or_bone")
    return flags


def redness_check(*, redness_mm: int | None, signs: Collection[str]) -> None:
    """How far redness reaches is told of redness that was seen."""
    if redness_mm is not None and "redness" not in signs:
        raise Refused(f"Redness reaches {redness_mm} mm, but redness is not ticked.", field="redness_mm")


def measurement_fill(row: Measurement, found: LesionFindings, last: Measurement | None = None) -> Measurement:
    """Put the findings on an unsaved or stored row; saving is the caller's."""
    area = wound_area(found, last)
    unknown = [sign for sign in found.infection_signs if sign not in INFECTION_SIGNS]
    if unknown:
        raise Refused(f"Signs of infection: {unknown[0]} is not one of the list.", field="infection")
    redness_check(redness_mm=found.redness_mm, signs=found.infection_signs)
    described = [getattr(row, name) for name in DESCRIBED]
    for column in fields(UlcerFindings):
        value = getattr(found, column.name)
        setattr(row, column.name, value.strip() if isinstance(value, str) else value)
    row.cavity = _cavity(found, area.width_mm)
    row.infection_signs = list(found.infection_signs)
    row.infection_looked = found.infection_looked or bool(found.infection_signs)
    row.covered_dry = found.covered_dry
    row.not_measured_because = found.not_measured_because.strip()
    for column in fields(WoundArea):
        setattr(row, column.name, getattr(area, column.name))
    row.outline_mm = _as_stored(area.outline_mm)
    row.trace = _trace_of(found)
    row.infection_grade = infection_of(row, standing_settings(row.visit.person.site))
    if found.unchanged:
        unchanged_fill(row)
    elif described != [getattr(row, name) for name in DESCRIBED]:
        row.unchanged_since = None
    return row


def _cavity(found: UlcerFindings, width_mm: Decimal | None) -> bool | None:
    """Deeper than wide, or undermined: as told, else as the millimetres say; the two may not disagree."""
    deeper = None if found.depth_mm is None or width_mm is None else found.depth_mm > width_mm
    under = None if found.undermining_mm is None else found.undermining_mm > 0
    hollow = True if deeper or under else (False if deeper is False and under is False else None)
    if found.cavity is False and hollow:
        raise Refused(
            f"Deeper than wide, or undermined: “no” beside depth {found.depth_mm or 0} mm and undermining "
            f"{found.undermining_mm or 0} mm.",
            field="cavity",
        )
    return hollow if found.cavity is None else found.cavity
