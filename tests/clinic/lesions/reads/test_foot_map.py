"""Left and right, sole and top: each place stands where one sees it."""

from itertools import combinations
from math import hypot

import pytest

from clinic.guidelines.sites import SITES
from clinic.lesions.reads.foot_maps import (
    HEIGHT,
    MARK_APART,
    SOLE,
    TOP,
    WIDTH,
    lesion_maps,
    pick_maps,
    place_on_page,
    view_of,
)

MIDDLE = WIDTH / 2


class Foot:
    def __init__(self, side):
        self.side = side


class Drawn:
    """As much of a lesion as a map asks for."""

    def __init__(self, place, side="left"):
        self.foot_site, self.limb = SITES[place], Foot(side)


@pytest.mark.parametrize(
    ("side", "place", "on_the_left"),
    [
        ("left", "mth_1", True),  # facing a left sole, its big toe is on the left of the page
        ("right", "mth_1", False),
        ("left", "dorsal_toe_1", False),  # looking down on a left foot, its big toe is on the right
        ("right", "dorsal_toe_1", True),
        ("left", "lateral_mth_5", True),
        ("right", "malleolus_medial", True),
        ("left", "heel_lateral", False),
    ],
)
def test_the_inner_side_is_where_one_sees_it(side, place, on_the_left):
    x, _ = place_on_page(SITES[place], side)
    assert (x < MIDDLE) is on_the_left


@pytest.mark.parametrize("place", SITES)
def test_left_and_right_are_mirror_images_at_one_height(place):
    (left_x, left_y), (right_x, right_y) = (place_on_page(SITES[place], side) for side in ("left", "right"))
    assert left_x + right_x == pytest.approx(WIDTH)
    assert left_y == right_y
    assert 0 < left_x < WIDTH
    assert 0 < left_y < HEIGHT


def test_the_outline_is_mirrored_exactly_where_the_big_toe_is_on_the_right():
    for side in ("left", "right"):
        sole, top = pick_maps(side)
        for view, big_toe in ((sole, "mth_1"), (top, "dorsal_toe_1")):
            x, _ = place_on_page(SITES[big_toe], side)
            assert view.mirrored is (x > MIDDLE)
            assert view.caption.endswith("right" if view.mirrored else "left")


def test_every_place_is_on_one_map_and_24_px_from_the_next():
    sole, top = pick_maps("left")
    assert {spot.site.id for spot in (*sole.spots, *top.spots)} == set(SITES)
    for view in (sole, top):
        for one, other in combinations(view.spots, 2):
            assert hypot(one.x - other.x, one.y - other.y) >= 24, (one.site.id, other.site.id)


def test_toes_come_before_heels_down_the_page():
    assert place_on_page(SITES["toe_pulp_2"], "left")[1] < place_on_page(SITES["mth_2"], "left")[1]
    assert place_on_page(SITES["mth_2"], "left")[1] < place_on_page(SITES["heel_central"], "left")[1]


def test_a_lesion_stands_on_the_map_of_its_own_foot_and_surface():
    drawn = [Drawn("mth_1"), Drawn("dorsum"), Drawn("mth_2", "right")]
    sole, top = lesion_maps("left", drawn)
    assert [mark.lesion for mark in sole.marks] == drawn[:1]
    assert [mark.lesion for mark in top.marks] == drawn[1:2]
    assert view_of(SITES["apex_1"]) == SOLE
    assert view_of(SITES["web_1"]) == TOP


@pytest.mark.parametrize(
    "places",
    [
        ["mth_1", "mth_2"],
        ["mth_2", "mth_2", "mth_2"],
        ["toe_pulp_2", "toe_pulp_3", "toe_pulp_4", "toe_pulp_5", "apex_2", "apex_3"],
        ["plantar_hallux", "apex_1", "heel_central", "heel_medial", "heel_lateral"],
    ],
)
def test_marks_never_cover_each_other_and_stay_on_the_sheet(places):
    sole, _ = lesion_maps("left", [Drawn(place) for place in places])
    for one, other in combinations(sole.marks, 2):
        assert hypot(one.x - other.x, one.y - other.y) >= MARK_APART - 1
    assert all(0 < mark.x < WIDTH and 0 < mark.y < HEIGHT for mark in sole.marks)


def test_a_lone_mark_stands_on_its_place():
    sole, _ = lesion_maps("left", [Drawn("mth_1")])
    assert not sole.marks[0].moved
