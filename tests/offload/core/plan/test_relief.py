"""Openings: floor and wall, merging, notches, and the margin measured on either face."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.affinity import scale

from offload.core.errors import ImpossibleRelief
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.openings import Wall, cut_openings, least_web
from offload.core.plan.policy import Policy
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

INSOLE = insole_for(260.0).outline
BOARD = Outline(((-200, -200), (200, -200), (200, 400), (-200, 400)))  # an insole without a near edge
WALL = Wall(5.0, 10.0, 45.0)
few = settings(max_examples=15)


def disc(x, y, radius=6.0, label="A"):
    return LesionSpec(label, Outline.ellipse((x, y), 2 * radius, 2 * radius))


def cut(*lesions, insole=BOARD, stack=DEMONSTRATION_STACK, layers=("middle",), wall=WALL, policy=None):
    return cut_openings(lesions, insole, stack, layers, wall, policy or Policy())


def test_each_cut_layer_has_outlines_that_grow_towards_the_foot():
    (opening,) = cut(disc(0, 180, 10), layers=("middle", "base")).openings
    assert [layer.role for layer in opening.layers] == ["middle", "base"]
    assert [layer.index for layer in opening.layers] == [1, 2]
    upper, lower = opening.layers
    assert upper.bottom == lower.top
    assert opening.opening == upper.top
    assert opening.floor == lower.bottom
    # ends of the outlines proximally: 180 − 10 − 5, and 6 mm more for each layer of 6 mm at 45°
    assert [outline.bounds[1] for outline in (lower.bottom, lower.top, upper.top)] == pytest.approx(
        [165, 159, 153], abs=1e-3
    )
    assert opening.floor.bounds[3] == pytest.approx(200.0, abs=1e-3)


def test_two_middles_are_both_cut():
    stack = (
        Layer("cover", "soft", 3),
        Layer("middle", "soft", 4),
        Layer("middle", "medium", 5),
        Layer("base", "firm", 6),
    )
    (opening,) = cut(disc(0, 180), stack=stack).openings
    assert [layer.index for layer in opening.layers] == [1, 2]
    assert opening.opening.bounds[1] == pytest.approx(180 - 6 - 5 - 9, abs=1e-3)


def test_a_base_cut_does_not_cut_the_middle():
    (opening,) = cut(disc(0, 180), layers=("base",)).openings
    assert [layer.role for layer in opening.layers] == ["base"]


def test_an_upright_wall_has_one_outline():
    (opening,) = cut(disc(0, 180), wall=Wall(5.0, 10.0, 90.0)).openings
    assert opening.area == pytest.approx(opening.floor_area)


@few
@given(
    x=st.floats(-20, 20),
    y=st.floats(30, 230),
    radius=st.floats(2, 8),
    margin=st.floats(0, 8),
    bevel=st.floats(20, 90),
    layers=st.sampled_from([("middle",), ("base",), ("middle", "base")]),
)
def test_outlines_are_nested_and_cover_the_lesion_on_a_real_insole(x, y, radius, margin, bevel, layers):
    lesion = disc(x, y, radius)
    (opening,) = cut(lesion, insole=INSOLE, layers=layers, wall=Wall(margin, margin + 5, bevel)).openings
    inner = lesion.outline.polygon
    for layer in reversed(opening.layers):
        for face in (layer.bottom, layer.top):
            assert inner.difference(face.polygon).area < 1e-2
            assert face.polygon.difference(INSOLE.polygon).area < 1e-2
            inner = face.polygon


@few
@given(x=st.floats(-20, 20), y=st.floats(30, 230))
def test_a_mirrored_foot_gives_the_mirrored_opening(x, y):
    mirrored = Outline(tuple((-px, py) for px, py in INSOLE.exterior))
    (one,) = cut(disc(x, y), insole=INSOLE).openings
    (other,) = cut(disc(-x, y), insole=mirrored).openings
    assert one.open_to_edge == other.open_to_edge
    back = scale(other.opening.polygon, -1, 1, origin=(0, 0))
    # A notch leaves by the shortest line between two polylines; which of two nearly equal corners it meets
    # moves a wall by up to a tenth of a millimetre. A printed sheet's bar may be half a millimetre off.
    assert back.hausdorff_distance(one.opening.polygon) < 0.25


class TestMerging:
    """Discs of radius 6 with margin 5 and a 6 mm wall at 45° open to radius 17; the web is the distance −
    34.
    """

    @pytest.mark.parametrize(("past", "openings"), [(-0.1, 1), (0.1, 2)])
    def test_openings_merge_when_the_web_is_under_the_least(self, past, openings):
        cutting = cut(disc(0, 0), disc(34 + Policy().least_web + past, 0, label="B"))
        assert len(cutting.openings) == openings

    def test_a_deeper_cut_needs_a_broader_web(self):
        """Two layers of 6 mm: radius 23, web at least 12 mm, so they merge up to a distance of 58 mm."""
        assert len(cut(disc(0, 0), disc(57.9, 0, label="B"), layers=("middle", "base")).openings) == 1
        assert len(cut(disc(0, 0), disc(58.1, 0, label="B"), layers=("middle", "base")).openings) == 2

    def test_a_merged_opening_says_so_and_names_its_lesions(self):
        cutting = cut(disc(0, 0, label="B"), disc(40, 0, label="A"))
        assert cutting.openings[0].labels == ("B", "A")
        assert (
            "Ulcers B, A share one opening: at the upper face the web between them would be 6.0 mm, under "
            "the "
            f"{Policy().least_web:g} mm that are needed." in cutting.reasons
        )

    def test_merging_goes_on_until_it_is_stable(self):
        """A and C are far apart, but each is near B."""
        cutting = cut(disc(0, 0), disc(40, 0, label="B"), disc(80, 0, label="C"))
        assert [opening.labels for opening in cutting.openings] == [("A", "B", "C")]

    def test_a_lesion_drawn_in_by_the_merged_shape_joins_it(self):
        """C lies beyond the web of A and of B, but under the web of the shape that joins them."""
        cutting = cut(disc(-20, 0), disc(20, 0, label="B"), disc(0, 43, label="C"))
        assert [opening.labels for opening in cutting.openings] == [("A", "B", "C")]
        assert len(cut(disc(-20, 0), disc(0, 60, label="C")).openings) == 2

    def test_the_web_is_measured_at_the_upper_face(self):
        openings = cut(disc(0, 0), disc(50, 0, label="B")).openings
        assert least_web(openings) == pytest.approx(16.0, abs=0.01)
        assert least_web(openings[:1]) is None


class TestNotch:
    """On a straight edge at x = 0 the opening of a disc of radius 6 reaches 17 mm out."""

    NEAREST = -17.0 - Policy().edge_strip  # the disc's place at which the strip is just wide enough

    PLATE = Outline(((-200, -200), (0, -200), (0, 400), (-200, 400)))

    @pytest.mark.parametrize(
        ("x", "notch"), [(NEAREST - 0.1, False), (NEAREST + 0.1, True), (-17, True), (-12, True), (-6, True)]
    )
    def test_an_opening_nearer_than_the_edge_strip_becomes_a_notch(self, x, notch):
        cutting = cut(disc(x, 0), insole=self.PLATE)
        (opening,) = cutting.openings
        assert opening.open_to_edge is notch
        assert any("opened to the edge as a notch" in reason for reason in cutting.reasons) is notch
        assert (opening.opening.bounds[2] == pytest.approx(0.0, abs=1e-9)) is notch

    def test_a_notch_is_as_wide_as_the_opening_and_runs_straight_out(self):
        (opening,) = cut(disc(-24, 0), insole=self.PLATE).openings
        # half of the swept disc, and the straight walls to the edge: 5 mm of sweep between two radii of 17
        assert opening.area == pytest.approx(math.pi * 17**2 / 2 + 5 * 17 + (34 + 5) * 24, rel=1e-3)
        assert opening.floor.bounds[2] == pytest.approx(0.0, abs=1e-9)

    def test_what_ran_off_the_insole_is_kept_as_a_figure(self):
        inside, crossing = cut(disc(-20, 0), insole=self.PLATE), cut(disc(-10, 0), insole=self.PLATE)
        assert inside.openings[0].asked_off_insole == 0.0
        assert crossing.openings[0].asked_off_insole > 100.0

    def test_an_opening_between_two_edges_is_opened_to_both(self):
        strip = Outline(((-20, -200), (20, -200), (20, 400), (-20, 400)))
        (opening,) = cut(disc(0, 0), insole=strip).openings
        assert opening.opening.bounds[0] == pytest.approx(-20.0)
        assert opening.opening.bounds[2] == pytest.approx(20.0)


class TestMarginFace:
    def test_the_margin_can_be_measured_on_the_foot_facing_side(self):
        wall = Wall(8.0, 8.0, 45.0, "opening")
        (opening,) = cut(disc(0, 180, 10), wall=wall).openings
        assert opening.opening.bounds == pytest.approx((-18, 162, 18, 198), abs=1e-3)
        assert opening.floor.bounds == pytest.approx((-12, 168, 12, 192), abs=1e-3)

    def test_a_floor_that_vanishes_is_an_error_that_names_margin_bevel_and_layer(self):
        with pytest.raises(ImpossibleRelief) as caught:
            cut(disc(0, 180, 5), layers=("middle", "base"), wall=Wall(1.0, 1.0, 45.0, "opening"))
        message = str(caught.value)
        assert (
            "margin_mm 1 with bevel_deg 45: the base of the opening under ulcer A vanishes in the" in message
        )

    def test_the_layer_named_is_the_one_in_which_the_floor_vanishes(self):
        with pytest.raises(ImpossibleRelief, match="vanishes in the base layer"):
            cut(disc(0, 180, 5), layers=("middle", "base"), wall=Wall(4.0, 4.0, 45.0, "opening"))

    def test_a_floor_in_two_pieces_is_an_error(self):
        waist = Outline(((-20, 0), (-8, 5), (8, 5), (20, 0), (20, 20), (8, 15), (-8, 15), (-20, 20)))
        with pytest.raises(ImpossibleRelief, match="falls into 2 pieces"):
            cut(LesionSpec("A", waist), wall=Wall(0.5, 0.5, 45.0, "opening"))


def test_a_concave_lesion_is_rounded_to_the_blade_and_says_so():
    corner = LesionSpec("A", Outline(((0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30))))
    cutting = cut(corner)
    assert "Concave corners around ulcer A are rounded to the blade's radius of 3 mm." in cutting.reasons
    sharp = cut(corner, policy=Policy(blade_radius=0.0))
    grown = cutting.openings[0].floor_area - sharp.openings[0].floor_area
    assert grown == pytest.approx(9 * (1 - math.pi / 4), abs=0.01)


def test_an_island_of_foam_inside_a_ring_shaped_lesion_is_not_left_standing():
    ring = Outline.ellipse((0, 0), 60, 60).exterior
    inner = tuple(reversed(Outline.ellipse((0, 0), 50, 50).exterior))
    gap = LesionSpec("A", Outline((*ring[:350], *inner[10:])))
    (opening,) = cut(gap).openings
    assert opening.floor.holes == ()
    assert opening.floor_area == pytest.approx(math.pi * 35**2 + 5 * 70, rel=2e-3)


def test_two_notches_that_come_near_one_another_share_one_opening():
    """Apart as asked (more than 10 mm); swept to the edge they would leave 9.6 mm."""
    insole = insole_for(260.0, 98.0).outline
    lesions = [disc(-23.645, 206.985, 4.306, "A"), disc(-34.519, 250.983, 3.19, "B")]
    (opening,) = cut(*lesions, insole=insole).openings
    assert opening.labels == ("A", "B")
    assert opening.open_to_edge


@settings(max_examples=40)
@given(
    y=st.floats(150.0, 235.0),
    apart=st.floats(22.0, 45.0),
    across=st.tuples(st.floats(5.0, 36.0), st.floats(5.0, 36.0)),
    sizes=st.tuples(st.floats(2.0, 6.0), st.floats(2.0, 6.0)),
    side=st.sampled_from([-1.0, 1.0]),
)
def test_no_two_openings_leave_a_thinner_web_than_the_rule(y, apart, across, sizes, side):
    insole = insole_for(260.0, 98.0).outline
    lesions = [
        disc(side * x, at, radius, label)
        for x, at, radius, label in zip(across, (y, y + apart), sizes, "AB", strict=True)
    ]
    assume(all(insole.polygon.contains(one.outline.polygon) for one in lesions))
    web = least_web(cut(*lesions, insole=insole).openings)
    assert web is None or web >= 10.0
