"""Laws of offsets and sweeps: containment, mirror symmetry, Steiner's formula, growth with the margin."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.affinity import scale
from shapely.geometry import MultiPoint, Point, Polygon, box

from offload.core.shapes.offset import (
    bevel_growth,
    dilate,
    erode,
    is_convex,
    parts_of,
    round_concave,
    sweep,
    swept_margin,
)

few = settings(max_examples=25)
radii = st.floats(0.5, 25)
margins = st.tuples(st.floats(0, 15), st.floats(0, 15)).map(lambda pair: (pair[0], pair[0] + pair[1]))


@st.composite
def stars(draw):
    """Simple polygons, mostly with concave corners: one point on each of a few rays."""
    count = draw(st.integers(3, 12))
    reach = draw(st.lists(st.floats(4, 20), min_size=count, max_size=count))
    return Polygon(
        [
            (r * math.cos(2 * math.pi * i / count), r * math.sin(2 * math.pi * i / count))
            for i, r in enumerate(reach)
        ]
    )


hulls = stars().map(lambda star: MultiPoint(star.exterior.coords).convex_hull)


@few
@given(stars(), margins)
def test_the_floor_contains_the_lesion_grown_by_the_margin(lesion, margin):
    floor = swept_margin(lesion, *margin)
    assert lesion.difference(floor).area < 1e-3
    assert lesion.buffer(margin[0] * 0.999).difference(floor).area < 1e-2


@few
@given(stars(), margins)
def test_a_mirrored_lesion_gives_the_mirrored_floor(lesion, margin):
    mirrored = swept_margin(scale(lesion, -1, 1, origin=(0, 0)), *margin)
    back = scale(mirrored, -1, 1, origin=(0, 0))
    assert back.symmetric_difference(swept_margin(lesion, *margin)).area < 0.02


@few
@example(
    Polygon([(-5.000000000000004, -8.660254037844384), (-2.42617260894521, 4.202254226625043), (10, 0)]),
    (3.5e-178, 1.0),
)
@given(hulls, margins)
def test_a_convex_lesion_follows_steiners_formula_with_the_sweep(lesion, margin):
    m, d = margin
    x0, _, x1, _ = lesion.bounds
    expected = lesion.area + lesion.length * m + math.pi * m * m + (d - m) * (x1 - x0 + 2 * m)
    assert swept_margin(lesion, m, d).area == pytest.approx(expected, rel=1e-4)


@few
@given(stars(), st.floats(0, 10), st.floats(0.1, 10))
def test_a_larger_margin_contains_a_smaller_one(lesion, margin, more):
    small, large = (
        swept_margin(lesion, margin, margin + 5),
        swept_margin(lesion, margin + more, margin + more + 5),
    )
    assert small.difference(large).area < 1e-2
    assert large.area > small.area


@few
@given(stars(), st.floats(-10, 10), st.floats(-10, 10))
def test_a_sweep_covers_each_place_on_the_way(lesion, dx, dy):
    swept = sweep(lesion, dx, dy)
    for share in (0.0, 0.3, 0.7, 1.0):
        there = Polygon([(x + share * dx, y + share * dy) for x, y in lesion.exterior.coords])
        assert there.difference(swept).area < 1e-6


def test_a_swept_notched_shape_keeps_its_notch():
    """A U opened distally and swept by less than its depth stays hollow; a hull would fill it."""
    shape = Polygon([(0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (10, 10), (10, 30), (0, 30)])
    swept = sweep(shape, 0, 5)
    assert swept.area == pytest.approx(shape.area + 5 * 30)
    assert not swept.contains(Point(15, 20))


def test_rounding_fills_concave_corners_only():
    corner = Polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
    rounded = round_concave(corner, 3.0)
    # A right corner of radius r takes r² − πr²/4.
    assert rounded.area - corner.area == pytest.approx(9 * (1 - math.pi / 4), abs=2e-3)
    assert corner.difference(rounded).area < 1e-6
    assert round_concave(box(0, 0, 5, 5), 3.0).equals(box(0, 0, 5, 5))


def test_eroding_more_than_there_is_leaves_nothing():
    assert erode(box(0, 0, 10, 10), 5.1) == []
    assert erode(box(0, 0, 10, 10), 1.0)[0].area == pytest.approx(64.0)
    hourglass = box(0, 0, 10, 10).union(box(9, 4, 21, 6)).union(box(20, 0, 30, 10))
    assert len(erode(hourglass, 2.0)) == 2


def test_a_dilated_ring_loses_its_hole():
    ring = Polygon(box(0, 0, 20, 20).exterior, [box(9, 9, 11, 11).exterior])
    assert dilate(ring, 0.0).area == 400.0
    assert len(dilate(ring, 0.5).interiors) == 0


@given(st.floats(0.5, 30), st.floats(20, 90))
def test_a_steeper_wall_runs_out_less(thickness, bevel):
    run = bevel_growth(thickness, bevel)
    assert 0.0 <= run <= bevel_growth(thickness, 20.0)
    assert bevel_growth(thickness, 90.0) == 0.0


def test_parts_come_largest_first_and_lines_are_dropped():
    both = box(0, 0, 1, 1).union(box(5, 5, 9, 9))
    assert [round(part.area) for part in parts_of(both)] == [16, 1]
    assert parts_of(box(0, 0, 1, 1).exterior) == []


@given(hulls)
def test_a_hull_is_convex(hull):
    assert is_convex(hull)
