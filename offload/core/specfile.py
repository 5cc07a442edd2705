"""Reads a relief specification from JSON: strictly, every fault at once, each with its limit."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from .device_load import DEVICES, TAKEN
from .errors import SpecError
from .fields import REQUIRED, Fields, finite, shown
from .insole import insole_for
from .outline import Outline
from .placement import faults_of_lesions, faults_of_map
from .spec import LesionSpec, PressureMap, ReliefSpec
from .stack import (
    CUTS,
    DEMONSTRATION_STACK,
    MOST_MIDDLES,
    PACKAGED_FOAMS,
    ROLES,
    THICKNESS_LIMITS,
    Layer,
    faults_of_stack,
)

__all__ = ["LARGEST_FILE", "read_spec", "spec_from"]

LARGEST_FILE = 2_000_000  # [bytes]
MOST_POINTS = 5000
MOST_LESIONS = 12
MOST_CELLS = 400  # rows or columns of a pressure map
LARGEST_LESION = 200.0  # [mm]
LARGEST_PRESSURE = 3000.0  # [kPa] above any plantar pressure in print; a larger value is a wrong unit
CELL_LIMITS = (1.0, 20.0)  # [mm]
REACH = 500.0  # [mm] no coordinate of an insole lies farther out
TRACED_LENGTHS = (0.5, 1.4)  # length of a traced insole as a share of the foot's
LARGEST_HEEL_SHIFT = 20.0  # [mm]
LONGEST_LABEL = 40
LABEL_LIMIT = f"1 to {LONGEST_LABEL} printable characters"
FIELDS = (
    "side",
    "foot_length_mm",
    "foot_width_mm",
    "insole_outline_mm",
    "body_weight_kg",
    "lesions",
    "stack",
    "margin_mm",
    "distal_margin_mm",
    "bevel_deg",
    "margin_face",
    "cut",
    "rigid_deformity",
    "device",
    "pressure_map",
)
ELLIPSE_FIELDS = ("centre_mm", "length_mm", "width_mm", "angle_deg")
LESION_FIELDS = ("label", "outline_mm", *ELLIPSE_FIELDS)


def read_spec(text: bytes, foams: Sequence[str] = PACKAGED_FOAMS) -> ReliefSpec:
    """Specification from the bytes of a JSON file.

    Parameters
    ----------
    text : bytes
        UTF-8 JSON, at most 2 MB.
    foams : sequence of str
        Foam ids that may be named.

    Returns
    -------
    ReliefSpec

    Raises
    ------
    SpecError
        With one sentence for every fault.
    """
    if len(text) > LARGEST_FILE:
        raise SpecError([f"file has {len(text)} bytes; the limit is {LARGEST_FILE} bytes (2 MB)"])
    twice: list[str] = []

    def without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in pairs:
            if name in found:
                twice.append(f"{shown(name)} is given twice in one object; the limit is once")
            found[name] = value
        return found

    try:
        data = json.loads(text.decode("utf-8-sig"), object_pairs_hook=without_repeats)
    except UnicodeDecodeError as error:
        raise SpecError([f"file is not UTF-8 at byte {error.start}; the limit is UTF-8 JSON"]) from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno} column {error.colno}"
        raise SpecError(
            [f"file is broken JSON at {where} ({error.msg}); the limit is one JSON object"]
        ) from error
    except (ValueError, RecursionError) as error:
        raise SpecError(
            ["file holds a number or a nesting too long to read; the limit is plain JSON"]
        ) from error
    return spec_from(data, foams, twice)


def spec_from(
    data: object, foams: Sequence[str] = PACKAGED_FOAMS, known_faults: Sequence[str] = ()
) -> ReliefSpec:
    """Specification from a JSON object already read.

    Parameters
    ----------
    data : object
        A mapping with the fields of the contract.
    foams : sequence of str
        Foam ids that may be named.
    known_faults : sequence of str
        Faults found while reading the file.

    Raises
    ------
    SpecError
        With one sentence for every fault.
    """
    faults = list(known_faults)
    top = Fields(data, "", FIELDS, faults)
    side = top.choice("side", ("left", "right"))
    foot_length = top.number("foot_length_mm", 120, 350, "mm")
    foot_width = top.number("foot_width_mm", 40, 160, "mm", None)
    weight = top.number("body_weight_kg", 20, 300, "kg")
    traced = top.outline("insole_outline_mm", MOST_POINTS, REACH) if top.has("insole_outline_mm") else None
    lesions = _lesions(top)
    stack = _stack(top, foams)
    margin = top.number("margin_mm", 0, 30, "mm", 5.0)
    least_distal = margin if margin is not None else 0.0
    distal = top.number("distal_margin_mm", 0, 30, "mm", max(10.0, least_distal))
    if distal is not None and distal < least_distal:
        top.refuse("distal_margin_mm", f"margin_mm ({least_distal:g}) to 30 mm")
    bevel = top.number("bevel_deg", 20, 90, "degrees", 45.0)
    face = top.choice("margin_face", ("floor", "opening"), "floor")
    cut = top.choice("cut", ("auto", *CUTS), "auto")
    if cut is not None and "middle" in cut and stack and all(layer.role != "middle" for layer in stack):
        top.refuse("cut", "auto or base, because the stack has no middle layer")
    rigid = top.flag("rigid_deformity", False)
    device = top.choice("device", DEVICES, None)
    pressure_map = _pressure_map(top)
    if pressure_map is not None and pressure_map.taken == "device" and not top.has("device"):
        faults.append('pressure_map.taken is "device"; the limit is barefoot or shoe where device is absent')
    if foot_length is not None and (traced is not None or not top.has("insole_outline_mm")):
        misplaced = [] if traced is None else _faults_of_traced(traced, foot_length)
        faults += misplaced
        if not misplaced:
            insole = insole_for(foot_length, foot_width, traced).outline
            faults += faults_of_lesions(lesions, insole)
            if pressure_map is not None and weight is not None:
                faults += faults_of_map(pressure_map, insole, weight)
    if faults:
        raise SpecError(faults)
    return ReliefSpec(
        side=side,
        foot_length=foot_length,
        body_weight=weight,
        lesions=lesions,
        foot_width=foot_width,
        insole_outline=traced,
        stack=stack,
        margin=margin,
        distal_margin=distal,
        bevel=bevel,
        margin_face=face,
        cut=cut,
        rigid_deformity=rigid,
        pressure_map=pressure_map,
        device=device,
    )


def _lesions(top: Fields) -> tuple[LesionSpec, ...]:
    entries = top.items("lesions", 1, MOST_LESIONS, "lesions") or []
    lesions: list[LesionSpec] = []
    labels: set[str] = set()
    for i, entry in enumerate(entries):
        fields = Fields(entry, f"lesions[{i}]", LESION_FIELDS, top.faults)
        if not fields.readable:
            continue
        label = fields.raw("label", LABEL_LIMIT, REQUIRED)
        if fields.has("label"):
            if not isinstance(label, str) or not (
                label.strip() and label.isprintable() and len(label) <= LONGEST_LABEL
            ):
                fields.refuse("label", LABEL_LIMIT)
                label = None
            elif label in labels:
                fields.refuse("label", "a label that no other lesion has")
                label = None
            else:
                labels.add(label)
        outline = _lesion_outline(fields)
        if outline is not None:
            lesions.append(LesionSpec(label or fields.path, outline))
    return tuple(lesions)


def _lesion_outline(fields: Fields) -> Outline | None:
    given = [name for name in ELLIPSE_FIELDS if fields.has(name)]
    if fields.has("outline_mm"):
        if given:
            fields.refuse(given[0], "either outline_mm or centre_mm with length_mm and width_mm, not both")
            return None
        return fields.outline("outline_mm", MOST_POINTS, REACH)
    if not given:
        fields.raw("outline_mm", "outline_mm, or centre_mm with length_mm and width_mm", REQUIRED)
        return None
    centre = fields.point("centre_mm", -REACH, REACH, "mm")
    length = fields.number("length_mm", 1, LARGEST_LESION, "mm")
    width = fields.number("width_mm", 1, LARGEST_LESION, "mm")
    angle = fields.number("angle_deg", -360, 360, "degrees", 0.0)
    if length is not None and width is not None and width > length:
        fields.refuse("width_mm", f"1 to length_mm ({length:g}) mm")
        return None
    if centre is None or length is None or width is None or angle is None:
        return None
    return Outline.ellipse(centre, length, width, angle, name=fields.path)


def _stack(top: Fields, foams: Sequence[str]) -> tuple[Layer, ...]:
    if not top.has("stack"):
        return DEMONSTRATION_STACK
    entries = top.items("stack", 2, 2 + MOST_MIDDLES, "layers") or []
    layers: list[Layer] = []
    for i, entry in enumerate(entries):
        fields = Fields(entry, f"stack[{i}]", ("role", "foam", "thickness_mm"), top.faults)
        role = fields.choice("role", ROLES)
        foam = fields.choice("foam", tuple(foams))
        thickness = fields.number("thickness_mm", *THICKNESS_LIMITS, "mm")
        if role is not None and foam is not None and thickness is not None:
            layers.append(Layer(role, foam, thickness))
    if entries and len(layers) == len(entries):
        top.faults += faults_of_stack([layer.role for layer in layers])
    return tuple(layers)


def _pressure_map(top: Fields) -> PressureMap | None:
    if not top.has("pressure_map"):
        return None
    fields = Fields(
        top.data["pressure_map"], "pressure_map", ("kind", "taken", "cell_mm", "origin_mm", "kpa"), top.faults
    )
    if not fields.readable:
        return None
    kind = fields.choice("kind", ("peak", "instant"), "peak")
    taken = fields.choice("taken", TAKEN, "shoe")
    cell = fields.point("cell_mm", *CELL_LIMITS, "mm")
    origin = fields.point("origin_mm", -REACH, REACH, "mm")
    rows = fields.items("kpa", 1, MOST_CELLS, "rows")
    kpa = _kpa(fields, rows) if rows is not None else None
    if kind is None or taken is None or cell is None or origin is None or kpa is None:
        return None
    return PressureMap(kpa, cell, origin, kind, taken)


def _kpa(fields: Fields, rows: list[Any]) -> tuple[tuple[float, ...], ...] | None:
    columns = len(rows[0]) if isinstance(rows[0], list) else 0
    limit = f"a number from 0 to {LARGEST_PRESSURE:g} kPa"
    grid = []
    for i, row in enumerate(rows):
        at = f"kpa[{i}]"
        if not isinstance(row, list) or not 1 <= len(row) <= MOST_CELLS or len(row) != columns:
            fields.refuse(at, f"a list of 1 to {MOST_CELLS} numbers, as many as in row 0", row)
            return None
        values = []
        for j, entry in enumerate(row):
            value = finite(entry)
            if value is None or not 0 <= value <= LARGEST_PRESSURE:
                fields.refuse(f"{at}[{j}]", limit, entry)
                return None
            values.append(value)
        grid.append(tuple(values))
    if not any(value > 0 for row in grid for value in row):
        fields.faults.append("pressure_map.kpa is 0 everywhere; the limit is at least one cell above 0 kPa")
        return None
    return tuple(grid)


def _faults_of_traced(traced: Outline, foot_length: float) -> list[str]:
    """Whether a traced insole can be this foot's, in millimetres and in the anatomical frame."""
    low, high = traced.bounds[1], traced.bounds[3]
    least, most = (share * foot_length for share in TRACED_LENGTHS)
    if not least <= high - low <= most:
        return [
            f"insole_outline_mm is {high - low:.0f} mm long; the limit is {least:.0f} to {most:.0f} mm for a foot of "
            f"{foot_length:g} mm"
        ]
    if abs(low) > LARGEST_HEEL_SHIFT:
        return [
            f"insole_outline_mm begins at y {low:.0f} mm; the limit is 0 ± {LARGEST_HEEL_SHIFT:g} mm, since the "
            "insole's rearmost point is the origin"
        ]
    return []
