"""The foams page: who may, what it shows, what it refuses."""

from __future__ import annotations

from django.utils import timezone

from clinic.models import SiteFoam


def told(**changes):
    return {
        "label": "Sheet of ours",
        "hardness": "30 Shore A",
        "stress_10": "34.29",
        "stress_25": "109.09",
        "stress_40": "240",
        "stress_50": "400",
        "source": "own press",
        "measured_on": timezone.localdate().isoformat(),
        **changes,
    }


def test_staff_do_not_open_it(as_staff):
    assert as_staff.get("/house-rules/foams/").status_code == 403


def test_a_foam_is_kept_with_its_misfit_and_taken_out_of_use(as_manager):
    page = as_manager.post("/house-rules/foams/", told(), follow=True).content.decode()
    assert "modulus 300 kPa, locking strain 0.80, misfit 0.0 kPa" in page
    assert "25 %: 109.1" in page
    link = SiteFoam.objects.get()
    assert link.foam.label in as_manager.get("/house-rules/").content.decode()
    as_manager.post(f"/house-rules/foams/{link.pk}/retire/")
    link.foam.refresh_from_db()
    assert link.foam.retired_at is not None


def test_points_that_fall_are_refused_and_stay_typed(as_manager):
    answer = as_manager.post("/house-rules/foams/", told(stress_50="100"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "rise from point to point" in page
    assert 'value="240"' in page
