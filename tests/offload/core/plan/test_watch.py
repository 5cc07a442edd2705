"""Places to look at after a cut are named once each, and lie where the estimate peaks."""

import math
from functools import cache

import shapely

from offload.core.plan.report import PressureModel
from offload.core.plan.watch import KINDS, watch_points
from tests.offload.core.pressure_plans import plan

MODEL = PressureModel(ranges=False, others=False)


@cache
def found(weight=82.0):
    made = plan(weight, "middle")
    picture = MODEL.picture(made)
    return made, picture.fields, watch_points(made, picture.fields)


def test_the_first_place_is_the_worst_quarter_of_the_rim():
    made, fields, points = found()
    assert points[0].kind == "rim"
    cut = made.openings[0].opening.polygon
    assert 0 < shapely.distance(cut, shapely.Point(points[0].at)) <= 10
    report = MODEL.picture(made).findings.report
    assert points[0].after_kpa == report.rim_peak_after


def test_every_place_lies_outside_the_opening_and_has_its_own_name():
    made, _, points = found()
    cut = shapely.union_all([opening.opening.polygon for opening in made.openings])
    assert len(points) >= 3
    assert len({point.words for point in points}) == len(points)
    for point in points:
        assert point.kind in KINDS
        assert not shapely.contains_xy(cut, *point.at)


def test_heads_are_those_beside_the_cut():
    made, _, points = found()
    heads = {mark.name: mark.at for mark in made.insole.landmarks if mark.name.startswith("metatarsal")}
    for point in points:
        if point.kind == "head":
            assert min(math.dist(point.at, at) for at in heads.values()) <= 8


def test_spots_are_over_200_kpa_and_a_light_person_has_none():
    spots = [point for point in found()[2] if point.kind == "spot"]
    assert spots
    assert all(point.after_kpa > 200 for point in spots)
    assert not [point for point in found(30.0)[2] if point.kind == "spot"]


def test_no_pressure_gives_no_place():
    made, _, _ = found()
    assert watch_points(made, ()) == ()
