"""A limit stands once: the check, its sentence, the picture and the words on the page follow it."""

from __future__ import annotations

import copy
import re
from dataclasses import fields, replace

import pytest
from django.template.loader import render_to_string

from offload.core.plan.compute import LesionPressure, PressureReport, compute, with_pressure
from offload.core.plan.policy import DEFAULT_POLICY
from offload.core.plan.report import PressureModel
from offload.core.plan.specfile import spec_from
from offload.core.plan.trial import pressure_checks
from offload.core.plan.watch import spot_words
from offload.core.pressure import limits
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.limits import PressureLimits, pressure_limits
from offload.pictures.plan import plan_picture

SPEC = {
    "side": "right",
    "foot_length_mm": 260,
    "body_weight_kg": 95,
    "lesions": [{"label": "A", "centre_mm": [0, 185], "length_mm": 14, "width_mm": 10}],
}


@pytest.fixture
def loads(monkeypatch):
    """A copy of the packaged limits that a test may change."""
    changed = copy.deepcopy(load_constants())
    monkeypatch.setattr(limits, "load_constants", lambda: changed)
    pressure_limits.cache_clear()
    yield changed["limits"]
    pressure_limits.cache_clear()


def report(clearance, peak):
    lesion = LesionPressure("A", "push_off", 250.0, 80.0, 200.0, 60.0, 68.0, 0.0, clearance, (60.0, 90.0))
    return PressureReport("reference", 880.0, 880.0, 150.0, 170.0, 207.0, peak, 90.0, 95.0, (lesion,))


def checks_at(strain=0.1, clearance=5.0, peak=100.0):
    found = pressure_checks(report(clearance, peak), [("cover", strain)])
    return {check.id: check for check in found}


def test_every_limit_of_the_loads_is_read_and_no_other():
    assert {re.sub("_(mm|kpa)$", "", name) for name in load_constants()["limits"]} == {
        field.name for field in fields(PressureLimits)
    }


@pytest.mark.parametrize("peak", [160.0, 230.0])
def test_the_peak_elsewhere_follows_its_limit(loads, peak):
    loads["peak_elsewhere_kpa"]["value"] = peak
    check = checks_at(peak=peak)["peak_elsewhere"]
    assert (check.passed, check.limit) == (True, peak)
    assert f"over {peak:g} kPa" in check.message
    assert not checks_at(peak=peak + 1)["peak_elsewhere"].passed


@pytest.mark.parametrize("least", [0.4, 2.5])
def test_the_clearance_follows_its_limit(loads, least):
    loads["clearance_mm"]["value"] = least
    check = checks_at(clearance=least)["clearance"]
    assert (check.passed, check.limit) == (True, least)
    assert f"{least:g} mm or more" in check.message
    assert not checks_at(clearance=least - 0.1)["clearance"].passed


@pytest.mark.parametrize(("good", "warn"), [(0.3, 0.4), (0.55, 0.7)])
def test_the_strain_follows_both_its_limits(loads, good, warn):
    loads["layer_strain_good"]["value"], loads["layer_strain_warn"]["value"] = good, warn
    check = checks_at(strain=good)["layer_strain"]
    assert (check.passed, check.limit) == (True, good)
    assert f"up to {100 * good:.0f} % is good, over {100 * warn:.0f} % it bottoms out" in check.message
    between, over = (checks_at(strain=value)["layer_strain"] for value in (warn, warn + 0.01))
    assert [(one.passed, one.severity) for one in (between, over)] == [(False, "warn"), (False, "error")]


@pytest.mark.parametrize("peak", [160.0, 230.0, 270.0])
def test_the_picture_the_scale_and_the_words_follow_the_limit_of_the_check(loads, peak):
    loads["peak_elsewhere_kpa"]["value"] = peak
    plan = compute(spec_from(SPEC))
    solved = PressureModel(cell_mm=10.0, ranges=False, others=False).picture(plan)
    picture = plan_picture(with_pressure(plan, solved.findings), fields=solved.fields)
    page = render_to_string("relief/plan/_preview.html", {"picture": picture, "insole": picture.insole})
    assert f"Heavy line: {peak:g} kPa." in page
    top, line = re.search(r"Scale from 0 to ([\d.]+) kPa, dark is high; line at ([\d.]+) kPa", page).groups()
    assert float(line) == peak < float(top)
    assert spot_words() == f"Over {peak:g} kPa in the estimate"
    # The notice names the footwear figure for what it is.
    told = page.split('id="alternatives"')[0].replace("200 kPa and 30 % are figures of footwear", "")
    assert "200 kPa" not in told


POLICY_CHECKS = {
    "least_web": "web_width",
    "edge_strip": "edge_strip",
    "least_cover": "cover_uncut",
    "least_floor": "floor_left",
    "least_wall": "wall_at_ulcer",
    "largest_zone_share": "zone_share",
}


@pytest.mark.parametrize(("rule", "name"), POLICY_CHECKS.items())
@pytest.mark.parametrize("factor", [0.9, 1.6])
def test_a_check_of_the_geometry_follows_the_rule_of_the_policy(rule, name, factor):
    limit = round(getattr(DEFAULT_POLICY, rule) * factor, 1)
    second = {"label": "B", "centre_mm": [0, 40], "length_mm": 14, "width_mm": 10}
    asked = spec_from({**SPEC, "lesions": [*SPEC["lesions"], second], "body_weight_kg": 70})
    plan = compute(asked, policy=replace(DEFAULT_POLICY, **{rule: limit}))
    check = next(check for check in plan.checks if check.id == name)
    assert check.limit == limit
    assert f"{limit:g}" in check.message
    at_most = rule == "largest_zone_share"
    assert check.passed is (check.value <= limit if at_most else check.value >= limit)
