"""Correcting a visit takes its weight, photos and opening along; a weight is corrected with it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.capture.writes.measurement import LesionFindings
from clinic.models import PlanFlag, Visit
from clinic.record.errors import Refused
from clinic.relief.reads.relief_record import limb_record
from clinic.visits.writes.corrections import visit_correct
from clinic.visits.writes.visits import PersonFindings
from tests.clinic.visits.writes.test_taking_back import _own_store, log, scene

__all__ = ["_own_store", "scene"]

TODAY = timezone.localdate


def correct(by, scene, visit, **changes):
    found = PersonFindings(visited_on=visit.visited_on, next_on=visit.next_on, wear=visit.wear)
    told = LesionFindings(lesion=scene["lesion"], length_mm=18, width_mm=14, debridement="before")
    return visit_correct(
        by=by,
        visit=visit,
        found=replace(found, **changes),
        lesions=[told],
        reason="typed wrongly",
        expected_version=visit.version,
    )


def test_the_day_takes_weight_photo_and_opening_along(staff, scene):
    visit = Visit.objects.get(pk=log(staff, scene, {"weight", "photo", "opened"}).pk)
    yesterday = TODAY() - timedelta(days=1)
    correct(staff, scene, visit, visited_on=yesterday)
    assert visit.weights.get().measured_on == yesterday
    assert visit.photos.get().taken_on == yesterday
    scene["device"].refresh_from_db()
    assert scene["device"].opened_on == yesterday
    assert visit.weights.get().history.count() == 2


def test_a_day_before_the_sealing_it_opened_is_refused(staff, scene):
    visit = Visit.objects.get(pk=log(staff, scene, {"opened"}).pk)
    with pytest.raises(Refused, match="take the opening back first"):
        correct(staff, scene, visit, visited_on=TODAY() - timedelta(days=6 + 3))


def test_a_weight_corrected_with_its_visit_steers_as_if_it_had_been_typed_so(staff, scene):
    visit = Visit.objects.get(pk=log(staff, scene, {"weight"}).pk)
    assert PlanFlag.objects.standing().filter(cause="weight").exists()
    correct(staff, scene, visit, weight_kg=Decimal("83.5"), weight_how="scales")
    assert limb_record(scene["limb"]).weight.kg == Decimal("83.5")
    assert not PlanFlag.objects.standing().filter(cause="weight").exists()
    assert visit.weights.get().history.count() == 2


def test_a_correction_that_says_nothing_of_the_weight_leaves_it(staff, scene):
    visit = Visit.objects.get(pk=log(staff, scene, {"weight"}).pk)
    correct(staff, scene, visit)
    assert visit.weights.get().kg == Decimal("131.5")
