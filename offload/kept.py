"""Pressures of a stored plan and laws of a stored foam, read back from the values they keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from shapely.geometry import Polygon

from offload.core.foam import Foam, FoamFit, FoamPoint
from offload.core.outline import Outline
from offload.core.plan import (
    PLACES,
    Alternative,
    ClearanceAdvice,
    LesionPressure,
    PressureReport,
)
from offload.models import ClinicFoam

__all__ = ["advice_of", "alternatives_of", "foam_of", "report_of", "share_outside"]


def report_of(result: Mapping[str, Any]) -> PressureReport | None:
    """The pressures a plan was kept with; nothing for one kept before they were solved."""
    kept = result.get("pressure")
    if kept is None:
        return None
    peaks = [f"{where}_{what}_{when}" for where, what in PLACES for when in ("before", "after")]
    return PressureReport(
        baseline=kept["baseline"],
        load=kept["load_n"],
        solved_load=kept["solved_load_n"],
        **{name: kept[f"{name}_kpa"] for name in peaks},
        lesions=tuple(_lesion(one) for one in kept["lesions"]),
        device=kept.get("device"),
        device_factor=None if kept.get("device_factor") is None else tuple(kept["device_factor"]),
    )


def _lesion(kept: Mapping[str, Any]) -> LesionPressure:
    low, high = kept["peak_after_range_kpa"]
    likely = kept.get("patch_mean_after_80_kpa")
    return LesionPressure(
        label=kept["label"],
        load_case=kept["load_case"],
        peak_before=kept["peak_before_kpa"],
        peak_after=kept["peak_after_kpa"],
        mean_before=kept["mean_before_kpa"],
        mean_after=kept["mean_after_kpa"],
        reduction_percent=kept["reduction_percent"],
        bottomed_percent=kept["bottomed_percent"],
        clearance=kept["clearance_mm"],
        peak_after_range=(low, high),
        patch_mean_before=kept.get("patch_mean_before_kpa"),
        patch_mean_after=kept.get("patch_mean_after_kpa"),
        patch_mean_after_80=None if likely is None else (likely[0], likely[1]),
        closes_chance=kept.get("closes_chance"),
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
    kept = result["clearance_advice"]
    cut = kept["cut_layers"]
    return ClearanceAdvice(None if cut is None else tuple(cut), kept["because"])


def foam_of(row: ClinicFoam) -> Foam:
    """A kept foam as the core computes with it."""
    points = tuple(FoamPoint(strain, stress) for strain, stress in row.points)
    fit = FoamFit(row.modulus_kpa, row.locking_strain, row.misfit_kpa, row.worst_kpa)
    return fit.as_foam(row.key, row.label, points, row.source)


def share_outside(spec: Mapping[str, Any], label: str, ring: Sequence[Sequence[float]]) -> float:
    """Share of a ring that lies outside the outline a plan holds of a lesion; 0 for a lesion it does not serve."""
    kept = next((one for one in spec["lesions"] if one["label"] == label), None)
    if kept is None:
        return 0.0
    if "outline_mm" in kept:
        planned = Polygon(kept["outline_mm"])
    else:
        x, y = kept["centre_mm"]
        size = kept["length_mm"], kept["width_mm"], kept.get("angle_deg", 0.0)
        planned = Outline.ellipse((x, y), *size).polygon
    given = Polygon(ring)
    return float(given.difference(planned).area / given.area)
