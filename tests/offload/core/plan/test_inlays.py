"""Pieces of other foam in a layer: laws of their pressures, their geometry, and the specification they stand
in."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely

from offload.core.errors import SpecError
from offload.core.foam.field import FoamField
from offload.core.foam.law import Series, packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK, Inlay, Layer
from offload.core.plan.compute import as_json, compute, with_pressure
from offload.core.plan.inlay_checks import narrowest
from offload.core.plan.inlays import gains_from_json, inlays_in, ring_about
from offload.core.plan.policy import INLAY_WALL, INLAY_WIDTH
from offload.core.plan.report import PressureModel
from offload.core.plan.specfile import spec_from, spec_json
from offload.core.shapes.outline import Outline
from tests.offload.core import pressure_plans

FOAMS = packaged_foams()
QUICK = PressureModel(cell_mm=5.0, others=False, chances=False)
SQUARE = Outline(((-10.0, 60.0), (10.0, 60.0), (10.0, 80.0), (-10.0, 80.0)))


def with_inlay(spec, index, foam, region):
    stack = [
        replace(layer, inlays=(*layer.inlays, Inlay(foam, region))) if n == index else layer
        for n, layer in enumerate(spec.stack)
    ]
    return replace(spec, stack=tuple(stack))


def ringed(index, foam, reach=14.0, cut="middle"):
    spec = pressure_plans.spec(cut=cut, size=14.0)
    bare = compute(spec)
    ring = ring_about(bare.spec.lesions[0], bare.openings, index, reach, bare.insole.outline)
    return with_inlay(spec, index, foam, ring)


def solved(spec, model=QUICK):
    plan = compute(spec)
    return with_pressure(plan, model(plan))


def check(plan, name):
    return next(one for one in plan.checks if one.id == name)


# Pressure


@pytest.mark.parametrize("index", [0, 1, 2])
def test_an_inlay_of_its_layers_own_foam_changes_nothing(index):
    bare = solved(pressure_plans.spec(cut="middle", size=14.0)).pressure
    same = solved(ringed(index, DEMONSTRATION_STACK[index].foam))
    for name in ("peak_after", "mean_after", "patch_mean_after", "clearance"):
        one, other = (getattr(report.lesions[0], name) for report in (bare, same.pressure))
        assert other == pytest.approx(one, abs=1e-3), name
    assert same.pressure.elsewhere_peak_after == pytest.approx(bare.elsewhere_peak_after, abs=1e-3)
    assert max(map(abs, same.gains[0].fall)) < 1e-3


def test_a_softer_layer_under_one_column_never_raises_its_pressure():
    """The closed form of one column: a foot that stays where it is, tissue and layers in series."""
    rng = np.random.default_rng(5)
    names = sorted(FOAMS, key=lambda name: FOAMS[name].modulus_kpa)
    for _ in range(200):
        thickness = rng.uniform(1.0, 10.0, 3)
        picked = [int(n) for n in rng.integers(0, len(names), 3)]
        at = int(rng.integers(0, 3))
        softer = [max(0, n - 1) if place == at else n for place, n in enumerate(picked)]
        reach = np.array([rng.uniform(1.0, 12.0)])
        before, after = (
            Series.joined(
                [(Series(thickness[:, None], [FOAMS[names[n]] for n in each]), np.array([True]))], 1.0 / 50.0
            ).pressure(reach)[0][0]
            for each in (picked, softer)
        )
        assert after <= before + 1e-9


@pytest.mark.parametrize(("index", "foam"), [(2, "soft"), (2, "medium")])
def test_a_softer_inlay_under_the_ulcer_never_raises_its_mean(index, foam):
    bare = solved(pressure_plans.spec(cut="middle", size=14.0)).pressure.lesions[0]
    soft = solved(ringed(index, foam)).pressure.lesions[0]
    assert soft.mean_after <= bare.mean_after + 0.1


def test_force_is_kept_under_an_inlay():
    for foam in ("soft", "firm"):
        report = solved(ringed(1, foam)).pressure
        assert report.solved_load == pytest.approx(report.load, rel=1e-4)


def test_a_cell_of_one_foam_is_that_foam_and_one_of_two_lies_between():
    foams = (FOAMS["soft"], FOAMS["firm"])
    field = FoamField(foams, np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5]]))
    for name in ("modulus_kpa", "locking_strain"):
        low, high, middle = getattr(field, name)
        assert (low, high) == pytest.approx([getattr(foam, name) for foam in foams])
        assert min(low, high) <= middle <= max(low, high)
    for name in ("strain", "softness_at", "shear_modulus_at"):
        found = getattr(field, name)(80.0)
        assert found[:2] == pytest.approx([float(getattr(foam, name)(80.0)) for foam in foams])
        assert min(found[:2]) <= found[2] <= max(found[:2])


def test_the_gain_is_told_with_an_interval_over_tissue_and_over_draws():
    plan = solved(ringed(2, "soft"), PressureModel(cell_mm=5.0))
    (gain,) = plan.gains
    assert (gain.role, gain.foam, gain.label) == ("base", "soft", "A")
    assert gain.with_it == plan.pressure.lesions[0].patch_mean_after
    bare = solved(pressure_plans.spec(cut="middle", size=14.0)).pressure.lesions[0]
    assert gain.without == pytest.approx(bare.patch_mean_after, abs=0.5)
    low, high = gain.fall
    assert low - 1e-6 <= gain.without - gain.with_it <= high + 1e-6
    assert gain.fall_80 is not None
    assert gain.fall_80[0] <= gain.fall_80[1]
    again = gains_from_json(json.loads(json.dumps(as_json(plan))))
    assert again[0].fall_80 == pytest.approx(gain.fall_80, abs=1e-5)
    assert (again[0].index, again[0].number, again[0].without) == (2, 1, pytest.approx(gain.without))


# Geometry


def test_the_pieces_of_a_layer_add_up_to_it():
    plan = compute(ringed(1, "soft"))
    (placed,) = inlays_in(plan.spec.stack)
    insole, region = plan.insole.outline.polygon, placed.inlay.region.polygon
    cut = plan.openings[0].layers[0].top.polygon
    parts = insole.difference(region).area + region.difference(cut).area + cut.area
    assert parts == pytest.approx(insole.area)


def test_a_ring_about_a_cut_leaves_its_reach_all_round():
    plan = compute(ringed(1, "soft", 14.0))
    region = next(inlays_in(plan.spec.stack)).inlay.region.polygon
    cut = plan.openings[0].layers[0].top.polygon
    assert region.contains(cut)
    assert region.boundary.distance(cut) == pytest.approx(14.0, abs=0.1)
    assert all(check(plan, name).passed for name in ("inlay_wall", "inlay_clear_of_cut", "inlay_width"))


@pytest.mark.parametrize(
    ("region", "flagged"),
    [
        (SQUARE, None),
        (Outline(((-10, 60), (-4, 60), (-4, 80), (-10, 80))), "inlay_width"),
        (Outline(((-46, 60), (-10, 60), (-10, 80), (-46, 80))), "inlay_wall"),
        (Outline(((-10, 150), (10, 150), (10, 190), (-10, 190))), "inlay_clear_of_cut"),
    ],
    ids=["fits", "narrow", "at the edge", "half in the cut"],
)
def test_an_inlay_that_cannot_be_cut_is_named_with_its_limit(region, flagged):
    plan = compute(with_inlay(pressure_plans.spec(cut="middle", size=14.0), 1, "soft", region))
    found = [one for one in plan.checks if one.id.startswith("inlay") and not one.passed]
    assert [one.id for one in found] == ([] if flagged is None else [flagged])
    assert all(one.stops for one in found)


def test_an_inlay_that_touches_the_cut_is_let_stand():
    bare = compute(pressure_plans.spec(cut="middle", size=14.0))
    cut = bare.openings[0].layers[0].top.polygon
    beside = shapely.box(-30, 165, -5, 185).difference(cut)
    region = Outline.of_polygon(max(getattr(beside, "geoms", [beside]), key=lambda one: one.area))
    plan = compute(with_inlay(bare.spec, 1, "firm", region))
    assert check(plan, "inlay_clear_of_cut").passed


def test_two_inlays_of_a_layer_touch_or_leave_a_wall():
    spec = with_inlay(pressure_plans.spec(cut="middle", size=14.0), 1, "soft", SQUARE)
    for shift, passed in ((20.0, True), (20.0 + INLAY_WALL, True), (22.0, False), (15.0, False)):
        other = Outline(tuple((x, y + shift) for x, y in SQUARE.exterior))
        assert check(compute(with_inlay(spec, 1, "firm", other)), "inlays_apart").passed is passed


def test_an_inlay_under_an_ulcer_is_named_and_its_seam_there_more_loudly():
    whole, half = compute(ringed(2, "soft")), pressure_plans.spec(cut="middle", size=14.0)
    assert check(whole, "inlay_under_ulcer").severity == "note"
    at = Outline(((-20, 180), (0, 180), (0, 215), (-20, 215)))
    seam = check(compute(with_inlay(half, 2, "soft", at)), "inlay_under_ulcer")
    assert seam.severity == "warn"
    assert "seam" in seam.message
    ring = compute(ringed(1, "soft"))  # the ulcer lies over the hole in it
    assert not [one for one in ring.checks if one.id == "inlay_under_ulcer"]


def test_the_narrowest_place_of_a_shape_is_found():
    waist = shapely.union_all(
        [shapely.box(0, 0, 20, 20), shapely.box(20, 8, 30, 12), shapely.box(30, 0, 50, 20)]
    )
    assert narrowest(shapely.box(0, 0, 30, 7), 12.0) == pytest.approx(7.0, abs=0.1)
    assert narrowest(waist, INLAY_WIDTH) == pytest.approx(4.0, abs=0.2)
    assert narrowest(shapely.box(0, 0, 30, 30), INLAY_WIDTH) == INLAY_WIDTH


# The specification


def test_a_specification_with_inlays_comes_back_as_it_went():
    spec = with_inlay(ringed(1, "soft"), 2, "medium", SQUARE)
    stored = json.loads(json.dumps(spec_json(spec)))
    assert spec_json(spec_from(stored)) == stored
    assert [one["foam"] for layer in stored["stack"] for one in layer.get("inlays", ())] == ["soft", "medium"]


def test_without_an_inlay_specification_and_plan_hold_no_word_of_any():
    plan = solved(pressure_plans.spec(cut="middle"))
    assert "inlay" not in json.dumps([spec_json(plan.spec), as_json(plan)])
    assert {tuple(layer) for layer in spec_json(plan.spec)["stack"]} == {("role", "foam", "thickness_mm")}


@pytest.mark.parametrize(
    ("inlay", "field"),
    [
        ({"foam": "cork", "region_mm": [[0, 0], [9, 0], [0, 9]]}, "stack[0].inlays[0].foam"),
        ({"foam": "soft"}, "stack[0].inlays[0].region_mm"),
        ({"foam": "soft", "region_mm": [[0, 0], [9, 9], [9, 0], [0, 9]]}, "stack[0].inlays[0].region_mm"),
        ({"foam": "soft", "region_mm": [[0, 0], [9, 0], [0, 9]], "depth": 3}, "stack[0].inlays[0].depth"),
        ("soft", "stack[0].inlays[0]"),
    ],
)
def test_a_fault_of_an_inlay_names_its_field(inlay, field):
    spec = spec_json(pressure_plans.spec())
    spec["stack"][0]["inlays"] = [inlay]
    with pytest.raises(SpecError) as refused:
        spec_from(spec)
    assert field in str(refused.value)


def test_layers_without_inlays_are_equal_to_those_made_before_there_were_any():
    assert Layer("base", "firm", 6.0) == Layer("base", "firm", 6.0, ())
