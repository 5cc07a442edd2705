"""A whole plan: layer, areas, reasons, seam for pressure, and the printed contract."""

import json
import math
from dataclasses import replace

import pytest

from offload.core import CORE_VERSION, NOTICE
from offload.core.errors import ImpossibleRelief, SpecError
from offload.core.plan.checks import Check
from offload.core.plan.compute import (
    Alternative,
    ClearanceAdvice,
    LesionPressure,
    PressureFindings,
    PressureReport,
    as_json,
    compute,
    with_pressure,
)
from offload.core.plan.spec import ReliefSpec
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.insole import insole_for, move_zone_lines
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

LESION = LesionSpec("A", Outline.ellipse((0.0, 180.0), 20.0, 20.0))


def spec(**changes):
    return replace(ReliefSpec(side="left", foot_length=260.0, body_weight=82.0, lesions=(LESION,)), **changes)


@pytest.mark.parametrize(
    ("weight", "rigid", "cut"),
    [
        (82.0, False, ("middle",)),
        (90.0, False, ("base",)),
        (95.0, False, ("base",)),
        (82.0, True, ("middle", "base")),
        (95.0, True, ("base",)),
    ],
)
def test_the_cut_follows_weight_and_rigidity(weight, rigid, cut):
    plan = compute(spec(body_weight=weight, rigid_deformity=rigid))
    assert plan.cut_layers == cut
    assert tuple(layer.role for layer in plan.openings[0].layers) == cut
    assert plan.cut_indices == tuple(("cover", "middle", "base").index(role) for role in cut)
    assert ("no layer below the base" in " ".join(plan.reasons)) is (weight == 95.0 and rigid)


def test_the_side_changes_nothing_in_the_anatomical_frame():
    left, right = as_json(compute(spec())), as_json(compute(spec(side="right")))
    assert left == right


def test_the_same_specification_gives_the_same_bytes():
    assert json.dumps(as_json(compute(spec()))) == json.dumps(as_json(compute(spec())))


def test_without_a_pressure_model_nothing_is_said_about_pressure():
    plan = compute(spec())
    assert plan.pressure is None
    assert plan.alternatives == ()
    assert plan.clearance_advice.cut_layers is None
    assert "No pressure model was run" in plan.clearance_advice.because
    assert plan.passed


def test_the_margins_and_the_estimated_insole_stand_among_the_reasons():
    words = " ".join(compute(spec()).reasons)
    margin = "5 mm all round and 10 mm towards the toes, measured on the base of the opening"
    assert f"{margin}; the wall stands at 45°" in words
    assert "The insole outline is estimated" in words


def test_a_moved_insole_is_used():
    insole = move_zone_lines(insole_for(260.0), (80.0, 190.0, 215.0))
    assert compute(spec(), insole=insole).insole.zone_of(180.0) == "midfoot"


def test_a_lesion_off_the_insole_is_refused():
    away = LesionSpec("B", Outline.ellipse((50.0, 180.0), 20.0, 20.0))
    with pytest.raises(SpecError, match="ulcer B lies"):
        compute(spec(lesions=(LESION, away)))


def test_a_map_off_the_insole_is_refused_and_a_small_share_is_reported():
    cells = PressureMap(((100.0, 5.0),), (10.0, 10.0), (40.0, 170.0))
    plan = compute(spec(pressure_map=cells))
    assert "4.8 % of the measured load lie on cells off the insole and are ignored." in plan.reasons
    with pytest.raises(SpecError, match="the limit is 10 %"):
        compute(spec(pressure_map=replace(cells, kpa=((100.0, 50.0),))))


def test_an_impossible_floor_is_refused():
    small = LesionSpec("A", Outline.ellipse((0.0, 180.0), 4.0, 4.0))
    with pytest.raises(ImpossibleRelief, match=r"margin_mm 2 .* bevel_deg 30.* middle layer"):
        compute(spec(lesions=(small,), margin=2.0, distal_margin=2.0, bevel=30.0, margin_face="opening"))


def figures(plan):
    lesion = LesionPressure("A", "push_off", 250.0, 80.0, 200.0, 60.0, 68.0, 0.0, 1.5, (60.0, math.nan))
    report = PressureReport("reference", 880.0, 880.0, 150.0, 170.0, 207.0, 228.0, 90.0, 95.0, (lesion,))
    other = Alternative(("base",), 5.0, 10.0, 45.0, 1595.0, 90.0, 180.0, True)
    extra = Check("clearance", "warn", False, 0.5, 1.0, "The space under the ulcer left is 0.5 mm.")
    return PressureFindings(
        report, (other,), ClearanceAdvice(("middle",), f"{len(plan.openings)} void."), ("R.",), (extra,)
    )


def pressed():
    plan = compute(spec())
    return with_pressure(plan, figures(plan))


def test_a_pressure_model_sees_the_geometry_and_adds_its_findings():
    plan = pressed()
    assert plan.clearance_advice == ClearanceAdvice(("middle",), "1 void.")
    assert plan.reasons[-1] == "R."
    assert plan.checks[-1].id == "clearance"
    assert not plan.passed


CONTRACT = {
    "openings": ["labels", "opening_mm", "floor_mm", "area_mm2", "floor_area_mm2", "open_to_edge", "layers"],
    "clearance_advice": ["cut_layers", "because"],
    "checks": ["id", "severity", "passed", "value", "limit", "message"],
    "pressure": [
        "baseline",
        "device",
        "device_factor",
        "load_n",
        "solved_load_n",
        "rim_peak_before_kpa",
        "rim_peak_after_kpa",
        "elsewhere_peak_before_kpa",
        "elsewhere_peak_after_kpa",
        "elsewhere_mean_before_kpa",
        "elsewhere_mean_after_kpa",
        "lesions",
    ],
    "lesions": [
        "label",
        "load_case",
        "peak_before_kpa",
        "peak_after_kpa",
        "mean_before_kpa",
        "mean_after_kpa",
        "reduction_percent",
        "bottomed_percent",
        "clearance_mm",
        "peak_after_range_kpa",
        "patch_mean_before_kpa",
        "patch_mean_after_kpa",
        "patch_mean_after_80_kpa",
        "closes_chance",
    ],
    "alternatives": [
        "cut_layers",
        "margin_mm",
        "distal_margin_mm",
        "bevel_deg",
        "area_mm2",
        "peak_after_kpa",
        "rim_peak_after_kpa",
        "relieves_more_chance",
        "passed",
    ],
}


def test_the_printed_plan_has_exactly_the_fields_of_the_contract():
    printed = as_json(pressed())
    assert list(printed) == [
        "openings",
        "cut_layers",
        "clearance_advice",
        "reasons",
        "checks",
        "pressure",
        "alternatives",
        "notice",
        "core_version",
    ]
    for name, fields in CONTRACT.items():
        part = printed["pressure"]["lesions"] if name == "lesions" else printed[name]
        assert list(part[0] if isinstance(part, list) else part) == fields, name
    assert list(printed["openings"][0]["layers"][0]) == ["role", "top_mm", "bottom_mm"]
    assert (printed["notice"], printed["core_version"]) == (NOTICE, CORE_VERSION)


def test_a_figure_that_is_no_number_is_printed_as_null():
    printed = as_json(pressed())
    assert printed["pressure"]["lesions"][0]["peak_after_range_kpa"] == [60.0, None]
    json.dumps(printed, allow_nan=False)


def test_printed_rings_have_the_printed_areas():
    (opening,) = as_json(compute(spec()))["openings"]
    assert Outline(opening["opening_mm"]).area == pytest.approx(opening["area_mm2"], rel=1e-6)
    assert Outline(opening["floor_mm"]).area == pytest.approx(opening["floor_area_mm2"], rel=1e-6)
    assert opening["layers"][0]["top_mm"] == opening["opening_mm"]
    assert opening["layers"][-1]["bottom_mm"] == opening["floor_mm"]
