"""Where a lesion begins on the bench."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.guidelines.sites import SITES
from clinic.models import Imprint
from clinic.relief.reads.relief import bench_lesions, plan_of_code, start_of
from clinic.relief.reads.relief_record import LesionShape
from clinic.relief.writes import relief
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import Ellipse
from offload.core.shapes.outline import Outline
from tests import factories

PLANTAR = [place.id for place in SITES.values() if place.insole_plan]


@pytest.fixture
def limb(person):
    factories.weight(of=person)
    return factories.limb(of=person)


@pytest.mark.parametrize("length", [200.0, 260.0, 310.0])
@pytest.mark.parametrize("place", PLANTAR)
def test_every_plantar_place_begins_wholly_on_the_insole(db, limb, place, length):
    insole = insole_for(length, None)
    start = start_of(factories.lesion(on=limb, place=place), insole).start
    drawn = Outline.ellipse((start["x_mm"], start["y_mm"]), start["length_mm"], start["width_mm"])
    assert insole.outline.polygon.covers(drawn.polygon)


def test_a_lesion_begins_under_its_landmark(limb):
    insole = insole_for(260.0, None)
    start = start_of(factories.lesion(on=limb, place="mth_2"), insole)
    mark = next(m for m in insole.landmarks if m.name == "metatarsal_head_2")
    assert (start.start["x_mm"], start.start["y_mm"]) == pytest.approx(mark.at, abs=0.05)
    assert start.is_at_site_name(start.start["x_mm"], start.start["y_mm"])
    assert not start.is_at_site_name(start.start["x_mm"] + 1, start.start["y_mm"])


def test_medial_and_lateral_places_lie_on_their_own_side(limb):
    insole = insole_for(260.0, None)
    medial = start_of(factories.lesion(on=limb, place="heel_medial"), insole).start["x_mm"]
    lateral = start_of(factories.lesion(on=limb, place="heel_lateral"), insole).start["x_mm"]
    assert medial < lateral


def test_a_dorsal_lesion_has_no_place_on_the_insole(limb):
    start = start_of(factories.lesion(on=limb, place="dorsum"), insole_for(260.0, None))
    assert not start.on_insole


def test_the_last_imprint_goes_before_the_site_name(limb):
    lesion = factories.lesion(on=limb)
    ring = [list(point) for point in Outline.ellipse((-12.0, 170.0), 18.0, 12.0, 30.0).exterior]
    Imprint.objects.create(
        lesion=lesion, taken_on="2026-01-05", how="traced", outline_mm=ring, created_by=factories.author()
    )
    (found,) = bench_lesions(limb)
    start = start_of(found, insole_for(260.0, None)).start
    assert start["how"] == "traced"
    assert (start["x_mm"], start["y_mm"]) == pytest.approx((-12.0, 170.0), abs=0.1)
    assert (start["length_mm"], start["width_mm"], start["angle_deg"]) == pytest.approx((18, 12, 30), abs=0.6)


def test_the_last_measured_size_is_taken_and_a_visit_in_error_is_not(limb):
    lesion = factories.lesion(on=limb)
    factories.measurement(
        at=factories.visit(of=limb.person), of=lesion, cm2=2.0, method="ellipse", length_mm=20, width_mm=12
    )
    wrong = factories.visit(of=limb.person, state="in_error", error_reason="wrong patient")
    factories.measurement(at=wrong, of=lesion, cm2=9.0, method="ellipse", length_mm=40, width_mm=30)
    (found,) = bench_lesions(limb)
    start = start_of(found, insole_for(260.0, None)).start
    assert (start["length_mm"], start["width_mm"]) == (20.0, 12.0)


def test_closed_lesions_stay_off_the_bench(limb):
    factories.lesion(on=limb, state="ended", outcome="lost")
    assert bench_lesions(limb) == []


def queries(limb):
    with CaptureQueriesContext(
        connection,
    ) as seen:
        insole = insole_for(260.0, None)
        for lesion in bench_lesions(limb):
            start_of(lesion, insole)
    return len(seen)


def test_the_number_of_queries_does_not_grow_with_the_lesions(limb):
    for place in PLANTAR[:2]:
        factories.lesion(on=limb, place=place)
    few = queries(limb)
    for place in PLANTAR[2:9]:
        factories.lesion(on=limb, place=place)
    assert queries(limb) == few


def test_a_code_is_found_as_it_is_typed_and_only_at_its_site(podiatrist, other_site, limb):
    lesion = factories.lesion(on=limb)
    place = Ellipse((0.0, 180.0), 14.0, 10.0)
    made = relief.plan_draft(by=podiatrist, limb=limb, shapes=[LesionShape(lesion, "traced", place)])
    code = made.plan.code
    assert plan_of_code(podiatrist, f"{code[:3]} {code[3:]}".lower()) == made
    assert plan_of_code(factories.user("podiatrist", at=other_site), code) is None
