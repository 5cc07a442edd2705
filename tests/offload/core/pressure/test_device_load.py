"""The load of the device: published factors, placed by region, linear in weight."""

import tomllib
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.errors import SpecError
from offload.core.plan.compute import as_json, compute, with_pressure
from offload.core.plan.report import PressureModel
from offload.core.plan.specfile import spec_from
from offload.core.pressure.baseline import baseline_for, lattice_for
from offload.core.pressure.device_load import DEVICES, TAKEN, factor_at
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.insole import insole_for
from tests.offload.core.pressure_plans import spec

TABLE = tomllib.loads(
    resources.files("offload.core").joinpath("data/device_loads.toml").read_text(encoding="utf-8")
)
INSOLE = insole_for(260.0, 98.0)
LATTICE = lattice_for(INSOLE, 5.0)
REGIONS = ("forefoot", "heel", "midfoot")
CASES = {"push_off": "forefoot", "heel_strike": "heel"}
QUICK = PressureModel(cell_mm=5.0, ranges=False, others=False)
MAP = PressureMap(tuple((90.0,) * 12 for _ in range(46)), (5.0, 5.0), (-30.0, 12.0), "peak")
LEAST = {
    "side": "left",
    "foot_length_mm": 260,
    "body_weight_kg": 82,
    "lesions": [{"label": "A", "centre_mm": [0, 190], "length_mm": 20, "width_mm": 20}],
}


def test_every_factor_names_its_range_its_source_and_whether_it_was_read():
    for name in (*DEVICES, "barefoot"):
        for region in REGIONS:
            row = (TABLE["barefoot"] if name == "barefoot" else TABLE["device"][name])[region]
            central, low, high = row["factor"]
            assert 0 < low <= central <= high
            assert row["source"].strip()
            assert row["status"] in ("read", "read, derived", "assumption")
            assert (row["status"] == "assumption") or any(sign.isdigit() for sign in row["source"])
    assert all(TABLE["device"][name]["wear"] and TABLE["device"][name]["patch"] for name in DEVICES)


def test_no_device_claims_a_benefit_at_the_heel_and_felt_with_its_hole_is_not_counted_twice():
    assert all(factor_at("heel", device).central == 1.0 for device in DEVICES)
    assert factor_at("forefoot", "felted_foam_with_footwear").central == 1.0


@settings(max_examples=25)
@given(
    device=st.sampled_from(DEVICES),
    case=st.sampled_from(sorted(CASES)),
    weight=st.floats(30.0, 160.0),
    taken=st.sampled_from([None, *TAKEN]),
)
def test_the_load_placed_is_the_scaled_maps_integral(device, case, weight, taken):
    given_map = None if taken is None else replace(MAP, taken=taken)
    lattice = lattice_for(INSOLE, 5.0, given_map)
    flat = baseline_for(
        INSOLE, weight, case, lattice, None if given_map is None else replace(MAP, taken="shoe")
    )
    found = baseline_for(INSOLE, weight, case, lattice, given_map, device)
    factor = factor_at(CASES[case], device, taken)
    assert found.device_factor == factor
    assert found.load.force_n == pytest.approx(factor.central * flat.load.force_n, rel=1e-9)
    assert found.load.force_n == pytest.approx(found.lattice.load_of(found.pressure_kpa).force_n)
    if taken == "device":
        assert np.array_equal(found.pressure_kpa, flat.pressure_kpa)
    elif factor.central != 1.0:
        assert any(f"{factor.central:g}" in note and "are placed" in note for note in found.notes)


def test_mid_stance_takes_each_zones_own_factor():
    flat, found = (
        baseline_for(INSOLE, 80.0, "mid_stance", LATTICE, None, device)
        for device in (None, "walker_knee_high_removable")
    )
    for y, factor in ((220.0, 0.35), (100.0, 1.5), (30.0, 1.0)):
        row = int(np.argmin(np.abs(flat.lattice.y - y)))
        assert found.pressure_kpa[row] == pytest.approx(factor * flat.pressure_kpa[row])


def pressed(given):
    made = compute(given)
    return with_pressure(made, QUICK(made))


def test_without_a_device_and_with_the_map_from_the_shoe_nothing_changes():
    for given_map in (None, MAP):
        one = QUICK(compute(spec(pressure_map=given_map))).report
        assert (one.device, one.device_factor) == (None, None)
        assert one.load == pytest.approx(80 * 9.80665 * 1.1)


def test_the_device_scales_the_load_and_leaves_the_geometry_alone():
    """Load is linear in weight: a foot of 80 kg in a walker is one of 28 kg in a flat shoe."""
    walker = pressed(spec(80.0, "base", device="walker_knee_high_removable"))
    light = pressed(spec(28.0, "base"))
    assert walker.pressure.device_factor == (0.35, 0.15, 0.70)
    assert walker.pressure.load == pytest.approx(light.pressure.load)
    assert walker.pressure.lesions[0].patch_mean_after == pytest.approx(
        light.pressure.lesions[0].patch_mean_after, rel=1e-4
    )
    bare = as_json(compute(spec(80.0, "base")))
    assert as_json(walker)["openings"] == bare["openings"]
    said = " ".join(walker.reasons)
    assert "published average of its class" in said
    assert "flat shoe; the device's own relief is not" not in said


def test_the_heel_says_that_no_benefit_is_claimed():
    made = pressed(spec(80.0, at=(0.0, 35.0), device="total_contact_cast"))
    assert "No benefit of the device is claimed at the heel" in " ".join(made.reasons)
    assert made.pressure.device_factor == (1.0, 0.55, 1.40)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"device": "boots"}, "device is"),
        ({"device": "toe_spacer"}, "device is"),
        (
            {
                "pressure_map": {
                    "cell_mm": [5, 5],
                    "origin_mm": [-30, 20],
                    "kpa": [[90.0] * 12] * 40,
                    "taken": "bed",
                }
            },
            "pressure_map.taken is",
        ),
        (
            {
                "pressure_map": {
                    "cell_mm": [5, 5],
                    "origin_mm": [-30, 20],
                    "kpa": [[90.0] * 12] * 40,
                    "taken": "device",
                }
            },
            'pressure_map.taken is "device"; the limit is barefoot or shoe where device is absent',
        ),
    ],
)
def test_what_no_class_or_map_can_be_is_refused_with_its_limit(changes, words):
    with pytest.raises(SpecError, match=words):
        spec_from({**LEAST, **changes})


def test_a_device_is_read_and_null_is_none():
    assert spec_from({**LEAST, "device": "ankle_high_removable"}).device == "ankle_high_removable"
    assert spec_from({**LEAST, "device": None}).device is None
