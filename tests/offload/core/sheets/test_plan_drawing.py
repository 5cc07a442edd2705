import pytest
from shapely import Polygon

from offload.core.errors import ReliefError
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.sheets.plan_drawing import (
    cut_name,
    drawn_bounds,
    drawn_point,
    insole_drawing,
    insole_layers,
)
from tests.offload.core.sheet_plans import plan_of

LATERAL = (("A", (30.0, 170.0), 6.0, 5.0),)


def centre(drawing, layer):
    return Polygon(drawing.paths(layer)[0].points).centroid


def test_the_little_toe_of_a_right_foot_is_drawn_on_the_right_and_of_a_left_foot_on_the_left():
    # Foot side up, toes away from the reader: one looks down on the insole as on one's own foot.
    for side, sign in (("right", 1), ("left", -1)):
        drawing = insole_drawing(plan_of(side, lesions=LATERAL))
        bounds = drawn_bounds(plan_of(side, lesions=LATERAL))
        axis = -bounds.left + 5.0  # where x = 0 of the anatomical frame is drawn
        assert sign * (centre(drawing, "LESION").x - axis) == pytest.approx(30.0, abs=0.01)
        words = {i.text: i.at[0] for lay in drawing.layers for i in lay.primitives() if hasattr(i, "text")}
        assert sign * (words["little toe side"] - words["big toe side"]) > 40


def test_left_is_the_mirror_image_of_right_point_by_point():
    right, left = (insole_drawing(plan_of(side, lesions=LATERAL)) for side in ("right", "left"))
    for name in ("OUTLINE", "LESION", "CUT_MIDDLE_TOP", "CUT_MIDDLE_FLOOR"):
        for a, b in zip(right.paths(name), left.paths(name), strict=True):
            assert [(right.width - x, y) for x, y in a.points] == [pytest.approx(p) for p in b.points]


def test_toes_are_up():
    drawing = insole_drawing(plan_of())
    assert centre(drawing, "LESION").y > drawing.height / 2


def test_areas_are_those_of_the_plan():
    plan = plan_of("left", lesions=LATERAL, cut=("middle", "base"))
    drawing = insole_drawing(plan)
    (opening,) = plan.openings
    for name, outline in (
        ("OUTLINE", plan.insole.outline),
        ("LESION", plan.spec.lesions[0].outline),
        ("CUT_MIDDLE_TOP", opening.opening),
        ("CUT_BASE_FLOOR", opening.floor),
    ):
        (path,) = drawing.paths(name)
        assert path.closed
        assert Polygon(path.points).area == pytest.approx(outline.area, rel=1e-9)


def test_one_layer_can_be_drawn_alone():
    plan = plan_of(cut=("middle", "base"))
    names = [layer.name for layer in insole_layers(plan, 2)]
    assert "CUT_BASE_TOP" in names
    assert "CUT_BASE_FLOOR" in names
    assert "CUT_MIDDLE_TOP" not in names


def test_two_middles_have_names_of_their_own():
    stack = (*DEMONSTRATION_STACK[:2], Layer("middle", "medium", 4.0), DEMONSTRATION_STACK[2])
    plan = plan_of(stack=stack)
    assert cut_name(plan, 2, "FLOOR") == "CUT_MIDDLE_2_FLOOR"
    assert {"CUT_MIDDLE_1_TOP", "CUT_MIDDLE_2_TOP"} <= {layer.name for layer in insole_layers(plan)}


def test_zone_lines_run_from_edge_to_edge_of_the_insole():
    plan = plan_of()
    drawing = insole_drawing(plan)
    low = drawn_bounds(plan).bottom - 5.0
    assert [path.points[0][1] + low for path in drawing.paths("ZONES")] == pytest.approx(
        plan.insole.zone_lines
    )
    ring = Polygon(drawing.paths("OUTLINE")[0].points).exterior
    from shapely import Point

    for path in drawing.paths("ZONES"):
        assert max(ring.distance(Point(p)) for p in path.points) < 1e-6


def test_a_side_that_is_neither_is_refused():
    with pytest.raises(ReliefError, match="side: both given"):
        drawn_point((0.0, 0.0), "both")
