"""Pressures of a stored plan and laws of a stored foam, read back from the values they keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from shapely.geometry import Polygon

from offload.core.foam.law import Foam, FoamFit, FoamPoint
from offload.core.plan.checks import Check, Kind
from offload.core.plan.compute import (
    PLACES,
    Alternative,
    ClearanceAdvice,
    LesionPressure,
    PressureReport,
)
from offload.core.shapes.outline import Outline
from offload.models import ClinicFoam

__all__ = ["advice_of", "alternatives_of", "check_json", "check_of", "foam_of", "report_of", "share_outside"]


def check_json(printed: Mapping[str, Any], check: Check) -> dict[str, Any]:
    """A check as the contract prints it; an error that stops no signature says of what kind it is."""
    softer = check.severity == "error" and check.kind is Kind.ESTIMATE
    return {**printed, **({"kind": check.kind.value} if softer else {})}


def check_of(stored: Mapping[str, Any]) -> Check:
    """A check as a plan kept it; one that names no kind is the record's, which may stop a signature."""
    return Check(**{**stored, "kind": Kind(stored.get("kind", Kind.RECORD.value))})


def report_of(result: Mapping[str, Any]) -> PressureReport | None:
    """The pressures a plan was kept with; nothing for one kept before they were solved."""
    stored = result.get("pressure")
    if stored is None:
        return None
    peaks = [f"{where}_{what}_{when}" for where, what in PLACES for when in ("before", "after")]
    return PressureReport(
        baseline=stored["baseline"],
        load=stored["load_n"],
        solved_load=stored["solved_load_n"],
        **{name: stored[f"{name}_kpa"] for name in peaks},
        lesions=tuple(_lesion(one) for one in stored["lesions"]),
        device=stored.get("device"),
        device_factor=None if stored.get("device_factor") is None else tuple(stored["device_factor"]),
    )


def _lesion(stored: Mapping[str, Any]) -> LesionPressure:
    low, high = stored["peak_after_range_kpa"]
    likely = stored.get("patch_mean_after_80_kpa")
    return LesionPressure(
        label=stored["label"],
        load_case=stored["load_case"],
        peak_before=stored["peak_before_kpa"],
        peak_after=stored["peak_after_kpa"],
        mean_before=stored["mean_before_kpa"],
        mean_after=stored["mean_after_kpa"],
        reduction_percent=stored["reduction_percent"],
        bottomed_percent=stored["bottomed_percent"],
        clearance=stored["clearance_mm"],
        peak_after_range=(low, high),
        patch_mean_before=stored.get("patch_mean_before_kpa"),
        patch_mean_after=stored.get("patch_mean_after_kpa"),
        patch_mean_after_80=None if likely is None else (likely[0], likely[1]),
        closes_chance=stored.get("closes_chance"),
    )


def alternatives_of(result: Mapping[str, Any]) -> tuple[Alternative, ...]:
    """The other cuts a plan was kept with."""
    return tuple(
        Alternative(
            cut_layers=tuple(one["cut_layers"]),
            margin=one["margin_mm"],
            distal_margin=one["distal_margin_mm"],
            bevel=one["bevel_deg"],
            area=one["area_mm2"],
            peak_after=one["peak_after_kpa"],
            rim_peak_after=one["rim_peak_after_kpa"],
            passed=one["passed"],
            relieves_more_chance=one.get("relieves_more_chance"),
        )
        for one in result.get("alternatives", ())
    )


def advice_of(result: Mapping[str, Any]) -> ClearanceAdvice:
    """What mechanics advised when the plan was kept."""
    stored = result["clearance_advice"]
    cut = stored["cut_layers"]
    return ClearanceAdvice(None if cut is None else tuple(cut), stored["because"])


def foam_of(row: ClinicFoam) -> Foam:
    """A kept foam as the core computes with it."""
    points = tuple(FoamPoint(strain, stress) for strain, stress in row.points)
    fit = FoamFit(row.modulus_kpa, row.locking_strain, row.misfit_kpa, row.worst_kpa)
    return fit.as_foam(row.key, row.label, points, row.source)


def share_outside(spec: Mapping[str, Any], label: str, ring: Sequence[Sequence[float]]) -> float:
    """Share of a ring that lies outside the outline a plan holds of a lesion; 0 for a lesion it does not
    serve.
    """
    stored = next((one for one in spec["lesions"] if one["label"] == label), None)
    if stored is None:
        return 0.0
    if "outline_mm" in stored:
        planned = Polygon(stored["outline_mm"])
    else:
        x, y = stored["centre_mm"]
        size = stored["length_mm"], stored["width_mm"], stored.get("angle_deg", 0.0)
        planned = Outline.ellipse((x, y), *size).polygon
    given = Polygon(ring)
    return float(given.difference(planned).area / given.area)
