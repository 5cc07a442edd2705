"""Every check can be flagged, and its sentence names what was found."""

import pytest

from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.checks import geometry_checks, plantar_check, weight_check
from offload.core.plan.openings import CutLayer, Opening, Wall, cut_openings
from offload.core.plan.policy import Policy
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

INSOLE = insole_for(260.0)
IDS = [
    "opening_inside_insole",
    "foam_in_one_piece",
    "web_width",
    "edge_strip",
    "lesion_over_full_depth",
    "wall_at_ulcer",
    "cover_uncut",
    "floor_left",
    "zone_share",
]


def disc(x, y, radius=6.0, label="A"):
    return LesionSpec(label, Outline.ellipse((x, y), 2 * radius, 2 * radius))


def checks_of(*lesions, stack=DEMONSTRATION_STACK, layers=("middle",), wall=None, policy=None):
    policy = policy or Policy()
    wall = wall or Wall(5.0, 10.0, 45.0)
    openings = cut_openings(lesions, INSOLE.outline, stack, layers, wall, policy).openings
    return {check.id: check for check in geometry_checks(openings, lesions, INSOLE, stack, policy)}


def made(*openings, lesions=None, stack=DEMONSTRATION_STACK):
    """Checks of openings built by hand."""
    lesions = lesions or [LesionSpec("A", openings[0].floor)]
    return {check.id: check for check in geometry_checks(openings, lesions, INSOLE, stack)}


def hole(x, y, radius, label="A", index=1, **more):
    ring = Outline.ellipse((x, y), 2 * radius, 2 * radius)
    return Opening((label,), (CutLayer(index, "middle", ring, ring),), **more)


def test_a_plain_plan_has_every_check_once_and_none_flagged():
    checks = checks_of(disc(0, 180))
    assert list(checks) == IDS
    assert all(check.passed for check in checks.values())
    assert {check.severity for check in checks.values()} <= {"error", "warn", "note"}
    assert all(check.message.endswith(".") and "\n" not in check.message for check in checks.values())


def test_an_opening_that_runs_off_the_insole_is_flagged():
    check = checks_of(disc(38, 160))["opening_inside_insole"]
    assert not check.passed
    assert check.value > 1.0
    assert "runs" in check.message
    assert "off the insole" in check.message


def test_cut_layers_that_fall_apart_are_flagged():
    across = Outline(((-60, 150), (60, 150), (60, 160), (-60, 160)))
    opening = Opening(("A",), (CutLayer(1, "middle", across, across),))
    check = made(opening)["foam_in_one_piece"]
    assert (check.passed, check.value, check.severity) == (False, 2.0, "error")


def test_a_thin_web_is_flagged():
    check = made(hole(-10, 180, 8), hole(12, 180, 8, "B"))["web_width"]
    assert not check.passed
    assert check.value == pytest.approx(6.0, abs=1e-6)
    assert check.limit == Policy().least_web
    assert "6.0 mm, too thin" in check.message


def test_a_thin_edge_strip_is_flagged():
    limit = Policy().edge_strip
    check = made(hole(0, 180, 8, edge_strip=limit / 2))["edge_strip"]
    assert (check.passed, check.value, check.limit) == (False, limit / 2, limit)
    beside = made(hole(0, 180, 8, edge_strip=limit + 1.0, open_to_edge=True))["edge_strip"]
    assert beside.passed
    assert "beside the notch" in beside.message


def test_a_lesion_over_the_wall_is_flagged():
    check = checks_of(disc(0, 180, 10), wall=Wall(2.0, 2.0, 45.0, "opening"))["lesion_over_full_depth"]
    assert not check.passed
    assert check.severity == "error"
    # floor of radius 10 + 2 − 6 = 6 under a lesion of radius 10
    assert check.value == pytest.approx(3.14159 * (100 - 36), rel=1e-3)


def test_a_thin_cover_is_flagged_and_a_cut_one_is_an_error():
    thin = checks_of(disc(0, 180), stack=(Layer("cover", "soft", 1.0), *DEMONSTRATION_STACK[1:]))[
        "cover_uncut"
    ]
    assert (thin.passed, thin.severity, thin.value) == (False, "warn", 1.0)
    cut = made(hole(0, 180, 8, index=0))["cover_uncut"]
    assert (cut.passed, cut.severity, cut.value) == (False, "error", 0.0)


def test_a_base_cut_is_not_flagged_but_says_what_the_floor_is():
    check = checks_of(disc(0, 180), layers=("base",))["floor_left"]
    assert check.passed
    assert check.severity == "note"
    assert "what lies under the insole becomes the base of the opening" in check.message


def test_a_thin_floor_is_flagged():
    limit = Policy().least_floor
    stack = (*DEMONSTRATION_STACK[:2], Layer("base", "firm", 0.75 * limit))
    check = checks_of(disc(0, 180), stack=stack)["floor_left"]
    assert (check.passed, check.value, check.limit) == (False, 0.75 * limit, limit)


def test_an_opening_that_takes_much_of_a_zone_is_flagged():
    check = checks_of(disc(0, 170, 15), layers=("middle", "base"))["zone_share"]
    assert not check.passed
    assert check.value > check.limit == Policy().largest_zone_share
    assert "of the forefoot" in check.message


@pytest.mark.parametrize(("past", "passed"), [(-30, True), (0, True), (1, False)])
def test_a_weight_older_than_the_policy_allows_is_flagged(past, passed):
    age = Policy().weight_age + past
    check = weight_check(82.0, age)
    assert check.passed is passed
    assert f"{age} days old" in check.message


@pytest.mark.parametrize(("weight", "age"), [(None, None), (82.0, None)])
def test_a_missing_weight_is_flagged_as_an_error(weight, age):
    check = weight_check(weight, age)
    assert (check.passed, check.severity, check.value) == (False, "error", None)


def test_a_lesion_that_is_not_plantar_gets_no_insole_plan():
    assert plantar_check("A", "plantar").passed
    check = plantar_check("A", "dorsal")
    assert not check.passed
    assert "no insole can relieve it" in check.message


@pytest.mark.parametrize(("margin", "passed"), [(0.0, False), (0.9, False), (1.1, True), (5.0, True)])
@pytest.mark.parametrize("layers", [("middle",), ("base",), ("middle", "base")])
def test_a_wall_at_the_edge_of_the_ulcer_stops_signing(margin, passed, layers):
    check = checks_of(disc(0, 180), wall=Wall(margin, max(margin, 10.0), 45.0), layers=layers)[
        "wall_at_ulcer"
    ]
    assert (check.passed, check.stops) == (passed, not passed)
    assert check.value == pytest.approx(margin, abs=0.05)
    assert f"{check.value:.1f} mm from ulcer A" in check.message


def test_the_nearest_wall_counts_and_a_notch_has_none_at_the_edge_of_the_insole():
    near = disc(0, 180), disc(0, 60, label="B")
    check = checks_of(*near, wall=Wall(3.0, 3.0, 45.0))["wall_at_ulcer"]
    assert check.value == pytest.approx(3.0, abs=0.05)
    edge = max(x for x, y in INSOLE.outline.exterior if abs(y - 180) < 4)
    notch = checks_of(disc(edge - 6.5, 180))["wall_at_ulcer"]
    assert notch.passed
    assert notch.value == pytest.approx(5.0, abs=0.1)


def test_a_wall_that_crosses_the_ulcer_stands_at_nought():
    small = hole(0, 180, 4.0)
    check = made(small, lesions=[disc(0, 180)])["wall_at_ulcer"]
    assert (check.passed, check.value) == (False, 0.0)
