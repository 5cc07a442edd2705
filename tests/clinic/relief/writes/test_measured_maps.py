"""Keeping a map measured under a foot, planning from it, and withdrawing it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from django.utils import timezone

from clinic.models import AuditEvent, MeasuredMap, PlanFlag
from clinic.people.reads.limbs import insole_of_limb
from clinic.record.errors import Conflict, Refused
from clinic.relief.reads.measured_maps import map_facts, map_spec, maps_of, place_of
from clinic.relief.reads.relief_record import CutChoice, LesionShape, limb_record, relief_spec, remarks
from clinic.relief.writes import relief
from clinic.relief.writes.measured_maps import map_keep, map_withdraw
from offload.core.pressure.measured import GridError, MeasuredGrid
from offload.core.shapes.lesion import Ellipse
from tests import factories

PLACE = Ellipse((0.0, 190.0), 14.0, 10.0)
POINTS = (("heel", 45.0, 36.0), ("metatarsal_head_2", 45.0, 195.0))


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    return factories.limb(of=person, side="right")


@pytest.fixture
def lesion(limb):
    return factories.lesion(on=limb)


def grid(peak=300.0, kind="peak", cell=5.0):
    return MeasuredGrid(tuple(map(tuple, factories.heel_and_forefoot(peak))), (cell, cell), kind)


def keep(by, limb, given=None, **changes):
    told = {
        "measured_on": timezone.localdate(),
        "worn": "flat shoe, uncut insole",
        "taken": "shoe",
        "unit": "kPa",
        "grid": given or grid(),
        "points": POINTS,
    }
    return map_keep(by=by, limb=limb, **{**told, **changes})


def choice(row=None):
    return CutChoice(5.0, 10.0, 45.0, measured_map=row.pk if row else None)


def draft(by, limb, lesion, row=None):
    return relief.plan_draft(
        by=by, limb=limb, shapes=[LesionShape(lesion, "traced", PLACE)], choice=choice(row)
    )


def spec(limb, lesion, row=None):
    return relief_spec(limb_record(limb), [LesionShape(lesion, "traced", PLACE)], choice(row))


# --- keeping
# -----------------------------------------------------------------------------------------------------
def test_a_map_is_kept_as_read_with_one_audit_row(podiatrist, limb):
    row = keep(podiatrist, limb)
    assert np.array(row.kpa).max() == max(max(line) for line in grid().kpa)
    assert maps_of(limb) == [row]
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.target_id) == ("added", "measuredmap", str(row.pk))


def test_the_same_map_sent_twice_is_kept_once(podiatrist, limb):
    first = keep(podiatrist, limb)
    assert keep(podiatrist, limb) == first
    assert MeasuredMap.objects.count() == AuditEvent.objects.count() == 1
    assert keep(podiatrist, limb, grid(peak=310)) != first


def test_a_map_of_tomorrow_is_refused(podiatrist, limb):
    with pytest.raises(Refused, match="the limit is today") as told:
        keep(podiatrist, limb, measured_on=timezone.localdate() + timedelta(days=1))
    assert told.value.field == "measured_on"


def test_points_that_do_not_fit_the_insole_are_refused(podiatrist, limb):
    """Cells of 8 mm where 5 were meant: the two points are as far apart as before, the grid is not."""
    with pytest.raises(Refused, match="apart on the grid"):
        keep(podiatrist, limb, points=(POINTS[0], ("metatarsal_head_2", 45.0, 240.0)))
    with pytest.raises(Refused, match="off the insole"):
        keep(podiatrist, limb, points=(("heel", 5.0, 36.0), ("metatarsal_head_2", 5.0, 195.0)))
    assert not MeasuredMap.objects.exists()


def test_one_moment_must_carry_what_a_walking_person_can_weigh(podiatrist, limb):
    with pytest.raises(Refused, match="body weights"):
        keep(podiatrist, limb, grid(peak=2000.0, kind="instant"))
    assert keep(podiatrist, limb, grid(kind="instant")).kind == "instant"


def test_one_moment_asks_for_the_weight_and_a_peak_map_does_not(podiatrist, person):
    bare = factories.limb(of=person, side="right")
    with pytest.raises(Refused, match="Body weight"):
        keep(podiatrist, bare, grid(kind="instant"))
    assert keep(podiatrist, bare).pk


def test_without_the_foots_length_no_map_is_kept(podiatrist, person):
    bare = factories.limb(of=person, side="right", foot_length_mm=None)
    with pytest.raises(Refused, match="Foot length"):
        keep(podiatrist, bare)


# --- planning from it
# --------------------------------------------------------------------------------------------
def test_the_newest_map_is_what_the_bench_starts_from(podiatrist, limb):
    assert limb_record(limb).house_choice.measured_map is None
    factories.measured_map(of=limb, measured_on=timezone.localdate() - timedelta(days=9))
    newest = keep(podiatrist, limb)
    assert limb_record(limb).house_choice.measured_map == newest.pk


def test_a_specification_holds_the_map_on_the_insole_with_its_load_kept(limb, lesion):
    row = factories.measured_map(of=limb)
    laid = spec(limb, lesion, row).pressure_map
    assert laid.grid().sum() * laid.cell[0] * laid.cell[1] == pytest.approx(
        np.array(row.kpa).sum() * 25, rel=1e-3
    )
    insole = insole_of_limb(limb)
    heel = next(mark.at for mark in insole.landmarks if mark.name == "heel")
    xs, ys = laid.centres()
    near = (np.abs(ys - heel[1]) < 40)[:, None] & np.ones(len(xs), dtype=bool)
    below = np.where(near, laid.grid(), 0.0)
    across, along = (below.sum(0) @ xs) / below.sum(), (below.sum(1) @ ys) / below.sum()
    assert (across, along) == pytest.approx(heel, abs=0.5)
    assert spec(limb, lesion).pressure_map is None


def test_a_plan_from_a_map_says_so_and_differs_from_that_of_the_reference(podiatrist, limb, lesion):
    row = keep(podiatrist, limb)
    made = draft(podiatrist, limb, lesion, row)
    pressure = made.plan.result["pressure"]
    assert pressure["baseline"] == "measured"
    assert made.measured_map == row
    assert any("flat shoe, uncut insole" in reason for reason in made.plan.result["reasons"])
    other = draft(podiatrist, limb, lesion)
    assert other.plan.result["pressure"]["baseline"] == "reference"
    assert other.measured_map is None
    assert any("on record and was not used" in reason for reason in other.plan.result["reasons"])
    one, two = (plan.plan.result["pressure"]["lesions"][0]["peak_before_kpa"] for plan in (made, other))
    assert one != pytest.approx(two, rel=0.01)


def test_the_peak_before_the_cut_scales_with_nothing_but_the_shape_of_a_peak_map(podiatrist, limb, lesion):
    """A peak map is scaled to the load of the step, so one twice as high gives the same plan; one moment
    does not.
    """
    low = draft(podiatrist, limb, lesion, keep(podiatrist, limb, grid(peak=150)))
    high = draft(podiatrist, limb, lesion, keep(podiatrist, limb, grid(peak=300)))
    before = [made.plan.result["pressure"]["lesions"][0]["peak_before_kpa"] for made in (low, high)]
    assert before[0] == pytest.approx(before[1], rel=2e-3)


def test_another_foots_map_is_refused(podiatrist, limb, lesion, person):
    other = factories.measured_map(of=factories.limb(of=person, side="left"))
    with pytest.raises(Refused, match="not on record for this foot") as told:
        spec(limb, lesion, other)
    assert told.value.field == "baseline"


def test_a_foot_whose_length_was_corrected_refuses_a_map_that_fits_no_more(limb, lesion):
    row = factories.measured_map(of=limb)
    limb.foot_length_mm = 210
    limb.save()
    with pytest.raises(Refused, match="does not fit this insole"):
        spec(limb, lesion, row)
    assert "does not fit this insole" in map_facts(row).trouble


# --- withdrawing
# -------------------------------------------------------------------------------------------------
def withdraw(by, row, **changes):
    return map_withdraw(
        by=by, row=row, **{"because": "the other foot", "expected_version": row.version, **changes}
    )


def test_a_withdrawn_map_serves_no_new_plan_and_stays_readable(podiatrist, limb, lesion):
    row = keep(podiatrist, limb)
    withdraw(podiatrist, row)
    assert maps_of(limb) == []
    with pytest.raises(Refused, match="was withdrawn"):
        spec(limb, lesion, row)
    assert map_facts(row).placed
    assert keep(podiatrist, limb) != row
    assert AuditEvent.objects.filter(verb="withdrew").count() == 1


def test_withdrawing_flags_the_signed_plan_and_stops_the_draft(podiatrist, limb, lesion):
    row = keep(podiatrist, limb)
    signed = draft(podiatrist, limb, lesion, row)
    relief.plan_sign(
        by=podiatrist,
        limb_plan=signed,
        expected_version=signed.plan.version,
        shut_reason="Measured next in the shoe.",
    )
    drafted = relief.plan_draft(
        by=podiatrist,
        limb=limb,
        shapes=[LesionShape(lesion, "traced", replace(PLACE, length=16.0))],
        choice=choice(row),
    )
    withdraw(podiatrist, row)
    assert [flag.limb_plan_id for flag in PlanFlag.objects.filter(cause="map")] == [signed.pk]
    with pytest.raises(Refused, match="was withdrawn: start a new version"):
        relief.plan_sign(
            by=podiatrist,
            limb_plan=drafted,
            expected_version=drafted.plan.version,
            shut_reason="Measured next in the shoe.",
        )


def test_withdrawing_needs_words_the_version_and_happens_once(podiatrist, limb):
    row = keep(podiatrist, limb)
    with pytest.raises(Refused) as told:
        withdraw(podiatrist, row, because=" ")
    assert told.value.field == "because"
    row.refresh_from_db()
    with pytest.raises(Conflict):
        withdraw(podiatrist, row, expected_version=7)
    row.refresh_from_db()
    withdraw(podiatrist, row)
    with pytest.raises(Refused, match="already"):
        withdraw(podiatrist, row)


# --- facts
# -------------------------------------------------------------------------------------------------------
def test_facts_of_a_peak_map_name_no_force_and_of_one_moment_its_integral(limb):
    peak, moment = factories.measured_map(of=limb), factories.measured_map(of=limb, kind="instant")
    assert map_facts(peak).force_n is None
    values = np.array(moment.kpa)
    facts = map_facts(moment)
    assert facts.force_n == pytest.approx(values.sum() * 25 / 1000)
    assert facts.loaded_cm2 == pytest.approx((values > 0).sum() * 0.25)
    assert facts.peak_kpa == values.max()
    assert facts.off_percent < 1


def test_a_map_names_a_landmark_that_the_insole_lacks(limb):
    row = factories.measured_map(of=limb, points=[["heel", 1.0, 2.0], ["arch", 3.0, 90.0]])
    with pytest.raises(GridError, match="no landmark arch"):
        place_of(row, insole_of_limb(row.limb))


def test_a_stored_map_is_laid_equally_each_time(limb):
    row = factories.measured_map(of=limb)
    row.refresh_from_db()
    insole = insole_of_limb(limb)
    assert map_spec(row, insole) == map_spec(MeasuredMap.objects.get(pk=row.pk), insole)


def test_remarks_of_a_record_without_maps_say_nothing_of_them(limb, lesion):
    found = remarks(limb_record(limb), [LesionShape(lesion, "traced", PLACE)], choice())
    assert not any("map" in reason for reason in found.reasons)
