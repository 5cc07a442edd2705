"""Reads a relief specification from JSON: strictly, every fault at once, each with its limit."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from offload.core.errors import Fault, SpecError, shown, where
from offload.core.foam.stack import (
    CUTS,
    DEMONSTRATION_STACK,
    MOST_MIDDLES,
    PACKAGED_FOAMS,
    ROLES,
    Layer,
    faults_of_stack,
)
from offload.core.plan.bounds import (
    ANGLE,
    BEVEL,
    BODY_WEIGHT,
    CELL,
    FOOT_LENGTH,
    FOOT_WIDTH,
    LABEL_LIMIT,
    LESION_LENGTH,
    MARGIN,
    MOST_CELLS,
    MOST_LESIONS,
    NO_DEVICE,
    NO_LOAD,
    NO_MIDDLE,
    PLACE,
    PRESSURE,
    TAKEN_LABEL,
    THICKNESS,
    distal_limit,
    is_label,
    lacks_device,
    lacks_middle,
    width_limit,
)
from offload.core.plan.fields import REQUIRED, Fields, finite
from offload.core.plan.inlays import layer_json, read_inlays
from offload.core.plan.spec import ReliefSpec
from offload.core.pressure.device_load import DEVICES, TAKEN
from offload.core.pressure.grid import PressureMap
from offload.core.pressure.placement import faults_of_lesions, faults_of_map
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import Ellipse, LesionSpec
from offload.core.shapes.outline import Outline

__all__ = ["LARGEST_FILE", "read_spec", "spec_from", "spec_json"]

LARGEST_FILE = 2_000_000  # [bytes]
MOST_POINTS = 5000
TRACED_LENGTHS = (0.5, 1.4)  # length of a traced insole as a share of the foot's
LARGEST_HEEL_SHIFT = 20.0  # [mm]
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
        With every fault.

    Notes
    -----
    A layer of ``stack`` may hold ``inlays``: ``[{"foam": ID, "region_mm": [[x, y], ...]}, ...]``. The plan of
    such a stack has ``inlay_gains`` beside the fields of every plan.
    """
    if len(text) > LARGEST_FILE:
        raise _unreadable(f"has {len(text)} bytes", f"{LARGEST_FILE} bytes (2 MB)", len(text))
    twice: list[Fault] = []

    def without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in pairs:
            if name in found:
                twice.append(Fault((name,), value, "once", "is given twice in one object", shown(name)))
            found[name] = value
        return found

    try:
        data = json.loads(text.decode("utf-8-sig"), object_pairs_hook=without_repeats)
    except UnicodeDecodeError as error:
        raise _unreadable(f"is not UTF-8 at byte {error.start}", "UTF-8 JSON") from error
    except json.JSONDecodeError as error:
        place = f"line {error.lineno} column {error.colno}"
        raise _unreadable(f"is broken JSON at {place} ({error.msg})", "one JSON object") from error
    except (ValueError, RecursionError) as error:
        raise _unreadable("holds a number or a nesting too long to read", "plain JSON") from error
    return spec_from(data, foams, twice)


def spec_from(
    data: object, foams: Sequence[str] = PACKAGED_FOAMS, known_faults: Sequence[Fault] = ()
) -> ReliefSpec:
    """Specification from a JSON object already read.

    Parameters
    ----------
    data : object
        A mapping with the fields of the contract.
    foams : sequence of str
        Foam ids that may be named.
    known_faults : sequence of Fault
        Faults found while reading the file.

    Raises
    ------
    SpecError
        With every fault. Lesions and map are laid on the insole only to tell their faults beside others; a
        specification without other faults is laid there once, when its plan is computed.
    """
    faults = list(known_faults)
    top = Fields(data, (), FIELDS, faults)
    side = top.choice("side", ("left", "right"))
    foot_length = top.number("foot_length_mm", FOOT_LENGTH)
    foot_width = top.number("foot_width_mm", FOOT_WIDTH, None)
    weight = top.number("body_weight_kg", BODY_WEIGHT)
    traced = top.outline("insole_outline_mm", MOST_POINTS, PLACE) if top.has("insole_outline_mm") else None
    lesions = _lesions(top)
    stack = _stack(top, foams)
    margin = top.number("margin_mm", MARGIN, 5.0)
    least_distal = margin if margin is not None else 0.0
    distal = top.number("distal_margin_mm", MARGIN, max(10.0, least_distal))
    if distal is not None and distal < least_distal:
        top.refuse("distal_margin_mm", distal_limit(least_distal))
    bevel = top.number("bevel_deg", BEVEL, 45.0)
    face = top.choice("margin_face", ("floor", "opening"), "floor")
    cut = top.choice("cut", ("auto", *CUTS), "auto")
    if cut is not None and lacks_middle(cut, stack):
        top.refuse("cut", NO_MIDDLE)
    rigid = top.flag("rigid_deformity", False)
    device = top.choice("device", DEVICES, None)
    pressure_map = _pressure_map(top)
    if pressure_map is not None and lacks_device(pressure_map, top.has("device")):
        faults.append(NO_DEVICE)
    if foot_length is not None and (traced is not None or not top.has("insole_outline_mm")):
        misplaced = [] if traced is None else _faults_of_traced(traced, foot_length)
        faults += misplaced
        if faults and not misplaced:
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
        fields = Fields(entry, ("lesions", i), LESION_FIELDS, top.faults)
        if not fields.readable:
            continue
        label = fields.raw("label", LABEL_LIMIT, REQUIRED)
        if fields.has("label"):
            if not is_label(label):
                fields.refuse("label", LABEL_LIMIT)
                label = None
            elif label in labels:
                fields.refuse("label", TAKEN_LABEL)
                label = None
            else:
                labels.add(label)
        shape = _lesion_shape(fields)
        if shape is not None:
            lesions.append(LesionSpec.of_shape(label or where(fields.path), shape))
    return tuple(lesions)


def _lesion_shape(fields: Fields) -> Ellipse | Outline | None:
    given = [name for name in ELLIPSE_FIELDS if fields.has(name)]
    if fields.has("outline_mm"):
        if given:
            fields.refuse(given[0], "either outline_mm or centre_mm with length_mm and width_mm, not both")
            return None
        return fields.outline("outline_mm", MOST_POINTS, PLACE)
    if not given:
        fields.raw("outline_mm", "outline_mm, or centre_mm with length_mm and width_mm", REQUIRED)
        return None
    centre = fields.point("centre_mm", PLACE)
    length = fields.number("length_mm", LESION_LENGTH)
    width = fields.number("width_mm", LESION_LENGTH)
    angle = fields.number("angle_deg", ANGLE, 0.0)
    if length is not None and width is not None and width > length:
        fields.refuse("width_mm", width_limit(length))
        return None
    if centre is None or length is None or width is None or angle is None:
        return None
    return Ellipse(centre, length, width, angle)


def _stack(top: Fields, foams: Sequence[str]) -> tuple[Layer, ...]:
    if not top.has("stack"):
        return DEMONSTRATION_STACK
    entries = top.items("stack", 2, 2 + MOST_MIDDLES, "layers") or []
    layers: list[Layer] = []
    for i, entry in enumerate(entries):
        fields = Fields(entry, ("stack", i), ("role", "foam", "thickness_mm", "inlays"), top.faults)
        role = fields.choice("role", ROLES)
        foam = fields.choice("foam", tuple(foams))
        thickness = fields.number("thickness_mm", THICKNESS)
        inlays = read_inlays(fields, foams)
        if role is not None and foam is not None and thickness is not None:
            layers.append(Layer(role, foam, thickness, inlays))
    if entries and len(layers) == len(entries):
        top.faults += faults_of_stack([layer.role for layer in layers])
    return tuple(layers)


def _pressure_map(top: Fields) -> PressureMap | None:
    if not top.has("pressure_map"):
        return None
    fields = Fields(
        top.data["pressure_map"],
        ("pressure_map",),
        ("kind", "taken", "cell_mm", "origin_mm", "kpa"),
        top.faults,
    )
    if not fields.readable:
        return None
    kind = fields.choice("kind", ("peak", "instant"), "peak")
    taken = fields.choice("taken", TAKEN, "shoe")
    cell = fields.point("cell_mm", CELL)
    origin = fields.point("origin_mm", PLACE)
    rows = fields.items("kpa", 1, MOST_CELLS, "rows")
    kpa = _kpa(fields, rows) if rows is not None else None
    if kind is None or taken is None or cell is None or origin is None or kpa is None:
        return None
    return PressureMap(kpa, cell, origin, kind, taken)


def _kpa(fields: Fields, rows: list[Any]) -> tuple[tuple[float, ...], ...] | None:
    columns = len(rows[0]) if isinstance(rows[0], list) else 0
    grid = []
    for i, row in enumerate(rows):
        if not isinstance(row, list) or not 1 <= len(row) <= MOST_CELLS or len(row) != columns:
            limit = f"a list of 1 to {MOST_CELLS} numbers, as many as in row 0"
            fields.refuse_entry(("kpa", i), limit, row)
            return None
        values = []
        for j, entry in enumerate(row):
            value = finite(entry)
            if value is None or value not in PRESSURE:
                fields.refuse_entry(("kpa", i, j), PRESSURE.limit, entry)
                return None
            values.append(value)
        grid.append(tuple(values))
    if not any(value > 0 for row in grid for value in row):
        fields.faults.append(NO_LOAD)
        return None
    return tuple(grid)


def _faults_of_traced(traced: Outline, foot_length: float) -> list[Fault]:
    """Whether a traced insole can be this foot's, in millimetres and in the anatomical frame."""
    low, high = traced.bounds[1], traced.bounds[3]
    least, most = (share * foot_length for share in TRACED_LENGTHS)
    path = ("insole_outline_mm",)
    if not least <= high - low <= most:
        limit = f"{least:.0f} to {most:.0f} mm for a foot of {foot_length:g} mm"
        return [Fault(path, high - low, limit, f"is {high - low:.0f} mm long")]
    if abs(low) > LARGEST_HEEL_SHIFT:
        limit = f"0 ± {LARGEST_HEEL_SHIFT:g} mm, since the insole's rearmost point is the origin"
        return [Fault(path, low, limit, f"begins at y {low:.0f} mm")]
    return []


def _unreadable(found: str, limit: str, value: object = None) -> SpecError:
    return SpecError([Fault((), value, limit, found, "file")])


def spec_json(spec: ReliefSpec) -> dict[str, Any]:
    """A specification as the JSON object from which `spec_from` reads it again.

    Parameters
    ----------
    spec : ReliefSpec

    Returns
    -------
    dict
        Fields that are not set are left out.
    """
    content: dict[str, Any] = {
        "side": spec.side,
        "foot_length_mm": spec.foot_length,
        "body_weight_kg": spec.body_weight,
        "lesions": [_lesion_json(lesion) for lesion in spec.lesions],
        "stack": [layer_json(layer) for layer in spec.stack],
        "margin_mm": spec.margin,
        "distal_margin_mm": spec.distal_margin,
        "bevel_deg": spec.bevel,
        "margin_face": spec.margin_face,
        "cut": spec.cut,
        "rigid_deformity": spec.rigid_deformity,
    }
    if spec.foot_width is not None:
        content["foot_width_mm"] = spec.foot_width
    if spec.insole_outline is not None:
        content["insole_outline_mm"] = _ring(spec.insole_outline)
    if spec.device is not None:
        content["device"] = spec.device
    if spec.pressure_map is not None:
        content["pressure_map"] = {
            "kind": spec.pressure_map.kind,
            "taken": spec.pressure_map.taken,
            "cell_mm": list(spec.pressure_map.cell),
            "origin_mm": list(spec.pressure_map.origin),
            "kpa": [list(row) for row in spec.pressure_map.kpa],
        }
    return content


def _lesion_json(lesion: LesionSpec) -> dict[str, Any]:
    one = lesion.ellipse
    if one is None:
        return {"label": lesion.label, "outline_mm": _ring(lesion.outline)}
    return {
        "label": lesion.label,
        "centre_mm": list(one.centre),
        "length_mm": one.length,
        "width_mm": one.width,
        "angle_deg": one.angle,
    }


def _ring(outline: Outline) -> list[list[float]]:
    return [list(point) for point in outline.exterior]
