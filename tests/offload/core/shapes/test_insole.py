"""The estimated insole has the asked length and breadth, and its marks can be moved."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point

from offload.core.errors import ReliefError
from offload.core.shapes.insole import (
    ZONES,
    estimate_width,
    insole_for,
    move_landmark,
    move_zone_lines,
    zone_areas,
)
from offload.core.shapes.outline import Outline

few = settings(max_examples=25)


@few
@given(st.floats(120, 350), st.floats(60, 140))
def test_the_outline_has_the_asked_length_and_breadth(length, width):
    insole = insole_for(length, width)
    x0, y0, x1, y1 = insole.outline.bounds
    assert (y0, y1) == pytest.approx((0.0, length + 10.0))
    assert x1 - x0 == pytest.approx(width)
    assert insole.foot_width == width


@few
@given(st.floats(120, 350))
def test_the_rearmost_point_is_the_origin(length):
    rearmost = min(insole_for(length).outline.exterior, key=lambda point: point[1])
    assert rearmost == pytest.approx((0.0, 0.0), abs=1e-9)


@few
@given(st.floats(198, 323))
def test_every_landmark_lies_on_the_estimated_insole(length):
    insole = insole_for(length)
    assert all(insole.outline.polygon.contains(Point(mark.at)) for mark in insole.landmarks)
    assert len(insole.landmarks) == 11


def test_the_heel_is_as_broad_as_estimated():
    insole = insole_for(260.0)
    at_heel = [x for x, y in insole.outline.exterior if 20 < y < 60]
    assert max(at_heel) - min(at_heel) == pytest.approx(insole.heel_width, rel=0.03)


def test_breadth_does_not_scale_with_length():
    assert estimate_width(300.0) / 300.0 < estimate_width(230.0) / 230.0


def test_zone_lines_stand_at_31_51_and_81_percent_of_the_foot():
    insole = insole_for(260.0)
    assert insole.zone_lines == pytest.approx((80.6, 132.6, 210.6))
    assert [insole.zone_of(y) for y in (0, 80.5, 100, 180, 210.7, 270)] == [
        "rearfoot",
        "rearfoot",
        "midfoot",
        "forefoot",
        "toes",
        "toes",
    ]


@few
@given(st.floats(200, 320), st.floats(0.1, 0.3), st.floats(0.31, 0.6), st.floats(0.61, 0.95))
def test_the_zones_share_out_the_whole_insole(length, low, mid, high):
    insole = move_zone_lines(insole_for(length), (low * length, mid * length, high * length))
    areas = zone_areas(insole)
    assert tuple(areas) == ZONES
    assert sum(area.area for area in areas.values()) == pytest.approx(insole.outline.area)


def test_zone_lines_that_do_not_rise_are_refused():
    with pytest.raises(
        ReliefError, match="zone lines are 90, 80, 200 mm; the limit is 3 rising values between 0 and 270"
    ):
        move_zone_lines(insole_for(260.0), (90, 80, 200))


def test_a_landmark_can_be_dragged_on_the_insole_and_not_off_it():
    insole = move_landmark(insole_for(260.0), "hallux", (-20.0, 235.0))
    assert dict((mark.name, mark.at) for mark in insole.landmarks)["hallux"] == (-20.0, 235.0)
    with pytest.raises(ReliefError, match=r"landmark hallux is at \(90, 235\) mm"):
        move_landmark(insole, "hallux", (90.0, 235.0))
    with pytest.raises(ReliefError, match="landmark is 'thumb'; the limit is one of heel"):
        move_landmark(insole, "thumb", (0.0, 100.0))


def test_a_traced_outline_is_taken_as_it_is():
    traced = Outline(((-40, 0), (40, 0), (40, 265), (-40, 265)))
    insole = insole_for(260.0, 90.0, traced)
    assert insole.traced
    assert insole.outline.exterior == traced.exterior
    assert insole.notes == ()


def test_an_estimate_says_so_and_so_does_an_extrapolation():
    assert "Foot breadth was not given: 98 mm is estimated" in insole_for(260.0).notes[0]
    assert not any("surveyed" in note for note in insole_for(260.0).notes)
    assert any("outside the surveyed 198 to 323 mm" in note for note in insole_for(150.0).notes)
