"""Geometry of relief openings against closed formulas and published survey means.

Sources
-------
Steiner's formula for the parallel body of a convex figure, A(r) = A + P·r + π·r² (J. Steiner 1840; any text
on integral geometry); Cavalieri's principle for the sweep; a right reflex corner takes r²(1 − π/4) from it.
Frustum volumes follow by integrating Steiner's formula over the depth. ANSUR II: public subset of the 2012
anthropometric survey of the US Army, means of 4,082 men and 1,986 women. Natural Earth: public domain
outlines; see data/SOURCE.md.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from offload.core.foam.stack import Layer
from offload.core.plan.openings import Wall, cut_openings, least_web
from offload.core.plan.policy import Policy
from offload.core.shapes.insole import estimate_width
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.offset import bevel_growth, dilate, swept_margin
from offload.core.shapes.outline import Outline, planimetry

DATA = Path(__file__).parent / "data"
RECTANGLE = Outline(((0, 0), (20, 0), (20, 30), (0, 30)))
TRIANGLE = Outline(((0, 0), (30, 0), (0, 40)))
CORNER = Outline(((0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)))
BOARD = Outline(((-300, -300), (300, -300), (300, 300), (-300, 300)))


@pytest.mark.parametrize(
    ("outline", "area"),
    [
        (RECTANGLE, 600 + 100 * 5 + math.pi * 25),  # 1178.5398
        (TRIANGLE, 600 + 120 * 5 + math.pi * 25),  # 1278.5398
        (CORNER, 500 + 120 * 5 + math.pi * 25 - 25 * (1 - math.pi / 4)),  # 1173.1748
    ],
    ids=["rectangle 20 × 30", "triangle 30-40-50", "L-shape"],
)
def test_an_offset_of_five_millimetres_follows_steiners_formula(outline, area):
    assert dilate(outline.polygon, 5.0).area == pytest.approx(area, rel=1e-4)


def test_a_rectangle_with_a_distal_margin_is_swept():
    assert swept_margin(RECTANGLE.polygon, 5.0, 10.0).area == pytest.approx(1178.5398 + 5 * 30, rel=1e-4)


def test_a_disc_with_a_distal_margin_is_swept():
    disc = Outline.ellipse((0, 0), 20, 20)
    floor = swept_margin(disc.polygon, 5.0, 10.0)
    assert floor.area == pytest.approx(math.pi * 15**2 + 5 * 30, rel=1e-4)  # 856.8583
    assert floor.bounds == pytest.approx((-15, -15, 15, 20), abs=2e-3)


@pytest.mark.parametrize(("bevel", "run"), [(30, 10.3923), (45, 6.0), (60, 3.4641)])
def test_a_bevel_over_six_millimetres_runs_out_by_t_over_tan(bevel, run):
    assert bevel_growth(6.0, bevel) == pytest.approx(run, abs=5e-5)


def test_the_volume_under_a_bevelled_rectangle_is_the_integral_of_steiners_formula():
    """A·t + P·t²/(2 tan a) + π·t³/(3 tan² a) = 5626.195 mm³ for 20 × 30, t 6, 45°; thin slices cut by the
    core.
    """
    slices = 12
    stack = (Layer("cover", "soft", 3.0), Layer("middle", "medium", 6.0), Layer("base", "firm", 6.0))
    depths = np.linspace(0.0, 6.0, slices + 1)
    areas = [
        cut_openings(
            [LesionSpec("A", RECTANGLE)],
            BOARD,
            (stack[0], Layer("middle", "medium", depth), stack[2]) if depth else stack,
            ("middle",),
            Wall(0.0, 0.0, 45.0 if depth else 90.0),
        )
        .openings[0]
        .area
        for depth in depths
    ]
    # Simpson's rule is exact for the quadratic growth of the area with depth.
    step = 6.0 / slices
    volume = step / 3 * (areas[0] + 4 * sum(areas[1:-1:2]) + 2 * sum(areas[2:-1:2]) + areas[-1])
    assert volume == pytest.approx(5626.195, rel=1e-4)


def test_two_squares_leave_the_web_of_their_upper_faces():
    """Squares 0–20 and 27.5–40 in x: 7.5 mm apart; 1.5 mm at the top of 3 mm bevelled at 45° on both
    sides.
    """
    squares = [
        LesionSpec("A", Outline(((0, 0), (20, 0), (20, 20), (0, 20)))),
        LesionSpec("B", Outline(((27.5, 0), (40, 0), (40, 20), (27.5, 20)))),
    ]
    stack = (Layer("cover", "soft", 3.0), Layer("middle", "medium", 3.0), Layer("base", "firm", 6.0))
    never_merge = Policy(least_web=0.0)

    def web(bevel, thickness):
        layers = (stack[0], Layer("middle", "medium", thickness), stack[2])
        return least_web(
            cut_openings(squares, BOARD, layers, ("middle",), Wall(0, 0, bevel), never_merge).openings
        )

    assert web(90.0, 3.0) == pytest.approx(7.5)
    # the cut depth of 3 mm would merge a web of 1.5 mm: measure it on two separate plans
    tops = [
        cut_openings([square], BOARD, stack, ("middle",), Wall(0, 0, 45.0)).openings[0] for square in squares
    ]
    assert least_web(tops) == pytest.approx(1.5, abs=1e-3)


@pytest.mark.parametrize(
    ("group", "length", "breadth", "heel"),
    [("men", 271.178, 101.859, 72.506), ("women", 246.293, 92.712, 67.163)],
)
def test_the_regressions_pass_through_the_survey_means(group, length, breadth, heel):
    assert estimate_width(length, "foot_width", group) == pytest.approx(breadth, abs=0.1)
    assert estimate_width(length, "heel_width", group) == pytest.approx(heel, abs=0.1)


def test_the_joint_regression_passes_through_the_joint_means():
    men, women = 4082 / 6068, 1986 / 6068
    length = men * 271.178 + women * 246.293
    assert estimate_width(length, "foot_width") == pytest.approx(men * 101.859 + women * 92.712, abs=0.1)
    assert estimate_width(length, "heel_width") == pytest.approx(men * 72.506 + women * 67.163, abs=0.1)


def natural_earth():
    features = json.loads((DATA / "naturalearth_outlines.geojson").read_text(encoding="utf-8"))["features"]
    for feature in features:
        shape = feature["geometry"]
        polygons = shape["coordinates"] if shape["type"] == "MultiPolygon" else [shape["coordinates"]]
        parts = [Outline(rings[0], tuple(rings[1:])) for rings in polygons]
        yield feature["properties"]["name"], parts


def test_planimetry_of_coast_lines_matches_the_shoelace_sums():
    measured = {name: (len(parts), planimetry(parts)) for name, parts in natural_earth()}
    expected = {"Norway": (4, 90.496255), "Italy": (3, 34.685652), "Iceland": (1, 20.569244)}
    assert {name: (count, round(sizes.area, 6)) for name, (count, sizes) in measured.items()} == expected
    assert measured["Iceland"][1].perimeter == pytest.approx(29.433457, abs=1e-6)
