"""Photographs are brought to scale, or refused with the reason."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.errors import RectifyError
from offload.core.shapes.outline import Outline
from offload.core.shapes.rectify import ID1_CARD, corners_of_edges, homography, rectify, scale_by_ruler

SQUARE_ON = [(100, 100), (956, 100), (956, 639.8), (100, 639.8)]  # 10 px per mm
WIDTH, HEIGHT = ID1_CARD


def camera(points, tilt=0.0, turn=0.0, distance=300.0, focal=1000.0):
    """Pinhole picture [px] of points in a plane [mm], tilted about its x axis by degrees, after a turn in
    the plane.
    """
    t, r = math.radians(tilt), math.radians(turn)
    seen = []
    for x, y in points:
        x, y = x * math.cos(r) - y * math.sin(r), x * math.sin(r) + y * math.cos(r)
        depth = distance + y * math.sin(t)
        seen.append((focal * x / depth, focal * y * math.cos(t) / depth))
    return seen


CARD = [(-100, -30), (-100 + WIDTH, -30), (-100 + WIDTH, -30 + HEIGHT), (-100, -30 + HEIGHT)]


@settings(max_examples=30)
@given(tilt=st.floats(-35, 35), turn=st.floats(-180, 180), distance=st.floats(250, 600))
def test_a_tilted_photograph_gives_back_the_true_area(tilt, turn, distance):
    wound = Outline.ellipse((20.0, 10.0), 40.0, 30.0).exterior
    plane = rectify(camera(CARD, tilt, turn, distance))
    area = Outline(plane.to_mm(camera(wound, tilt, turn, distance))).area
    assert area == pytest.approx(Outline(wound).area, rel=1e-6)


def test_corners_alone_cannot_be_checked_and_say_so():
    plane = rectify(SQUARE_ON)
    assert plane.residual is None
    assert "could not be checked" in plane.caveat


def test_rounded_corners_are_found_where_the_straight_edges_meet():
    edges = [
        [(140, 100), (500, 100), (900, 100)],
        [(956, 140), (956, 600)],
        [(900, 639.8), (140, 639.8)],
        [(100, 600), (100, 140)],
    ]
    corners = corners_of_edges(edges)
    assert np.allclose(corners, SQUARE_ON)
    plane = rectify(corners, edges=edges)
    assert plane.residual == pytest.approx(0.0, abs=1e-9)
    assert plane.caveat is None
    assert np.allclose(plane.to_mm([(528, 369.9)]), [(WIDTH / 2, HEIGHT / 2)])


def test_the_residual_is_in_millimetres_and_refused_above_its_limit():
    def edges(off):
        return [[(140, 100 + off), (500, 100 - off)], [(956, 300)], [(500, 639.8)], [(100, 300)]]

    # two of five points miss by 3 px = 0.3 mm
    assert rectify(SQUARE_ON, edges=edges(3)).residual == pytest.approx(0.3 * math.sqrt(2 / 5), rel=1e-6)
    with pytest.raises(
        RectifyError, match=r"miss the straight edges by 0.63 mm \(rms\); the limit is 0.5 mm"
    ):
        rectify(SQUARE_ON, edges=edges(10))


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        (SQUARE_ON[:3], "corners are 3; the limit is 4"),
        (SQUARE_ON[::-1], "run counter-clockwise"),
        ([SQUARE_ON[0], SQUARE_ON[2], SQUARE_ON[1], SQUARE_ON[3]], "no convex quadrilateral"),
        ([*SQUARE_ON[1:], SQUARE_ON[0]], "sides look 0.63 : 1 where 1.59 : 1 is true"),
        (
            [(0, 0), (30, 0), (30, 20), (0, 20)],
            "shortest side of the rectangle is 20.0 px; the limit is at least 40 px",
        ),
        ([(0, 0), (900, 0), (900, math.nan), (0, 500)], "corner 3 is not finite"),
        ([1, 2, 3, 4], "corners have the shape"),
    ],
)
def test_an_implausible_rectangle_is_refused(corners, words):
    with pytest.raises(RectifyError, match=words):
        rectify(corners)


def test_a_size_that_is_none_is_refused():
    with pytest.raises(RectifyError, match="size is 0 × 10 mm"):
        rectify(SQUARE_ON, size=(0.0, 10.0))


def test_a_point_beyond_the_horizon_is_refused():
    plane = rectify(camera(CARD, tilt=40.0))
    with pytest.raises(RectifyError, match="beyond the horizon"):
        plane.to_mm([(0.0, 5000.0)])


@pytest.mark.parametrize(
    ("edges", "words"),
    [
        ([[(0, 0), (1, 0)]] * 3, "edges are 3; the limit is 4"),
        (
            [[(0, 0), (9, 0)], [(9, 9), (9, 9)], [(9, 9), (0, 9)], [(0, 9), (0, 0)]],
            "edge 2 has no two points",
        ),
        (
            [[(0, 0), (9, 0)], [(0, 5), (9, 5)], [(9, 9), (0, 9)], [(0, 9), (0, 0)]],
            "edges 1 and 2 are nearly parallel",
        ),
    ],
)
def test_edges_that_give_no_corner_are_refused(edges, words):
    with pytest.raises(RectifyError, match=words):
        corners_of_edges(edges)


def test_more_than_four_pairs_are_fitted_in_the_least_squares_sense():
    plane = [(x, y) for x in (0, 40, 80) for y in (0, 25, 50)]
    matrix = homography(camera(plane, tilt=25), plane)
    back = np.column_stack([camera(plane, tilt=25), np.ones(9)]) @ matrix.T
    assert np.allclose(back[:, :2] / back[:, 2:], plane)


def test_points_on_one_line_do_not_fix_a_map():
    with pytest.raises(RectifyError, match="do not fix the map"):
        homography([(0, 0), (1, 1), (2, 2), (3, 3)], [(0, 0), (1, 1), (2, 2), (3, 3)])


def test_a_ruler_gives_scale_only_and_carries_its_caveat():
    plane = scale_by_ruler((100, 100), (100, 600), 50.0)
    assert plane.to_mm([(10, 20)]) == ((1.0, 2.0),)
    assert plane.method == "ruler"
    assert "tilt of the photograph is not corrected" in plane.caveat


@pytest.mark.parametrize(
    ("second", "distance", "words"),
    [
        ((100, 110), 50.0, "10.0 px apart; the limit is at least 40 px"),
        ((100, 600), 0.0, "ruler distance is 0 mm"),
    ],
)
def test_a_ruler_that_gives_no_scale_is_refused(second, distance, words):
    with pytest.raises(RectifyError, match=words):
        scale_by_ruler((100, 100), second, distance)
