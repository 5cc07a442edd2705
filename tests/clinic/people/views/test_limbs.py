"""A foot's pages."""

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import AuditEvent, LimbFinding
from tests import factories


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


def text(response):
    return response.content.decode()


@pytest.mark.parametrize("name", ["limb_edit", "finding_new"])
def test_another_clinic_is_not_found_and_a_manager_is_refused(as_staff, as_manager, other_site, limb, name):
    elsewhere = factories.limb(of=factories.person(at=other_site))
    assert as_staff.get(reverse(name, args=[elsewhere.pk])).status_code == 404
    assert as_staff.post(reverse(name, args=[elsewhere.pk])).status_code == 404
    assert as_manager.get(reverse(name, args=[limb.pk])).status_code == 403


def test_lengths_are_stored(as_staff, limb):
    given = {"foot_length_mm": "258.5", "foot_breadth_mm": "97", "amputation": "toe", "version": 1}
    assert as_staff.post(reverse("limb_edit", args=[limb.pk]), given).status_code == 302
    limb.refresh_from_db()
    assert (float(limb.foot_length_mm), limb.amputation) == (258.5, "toe")


def test_a_length_out_of_bounds_keeps_what_was_typed(as_staff, limb):
    given = {"foot_length_mm": "26", "foot_breadth_mm": "97", "amputation": "none", "version": 1}
    response = as_staff.post(reverse("limb_edit", args=[limb.pk]), given)
    assert response.status_code == 422
    assert "Foot length was given as 26 mm; it must be between 120 and 350 mm." in text(response)
    assert 'value="97"' in text(response)


def test_a_conflict_on_a_foot_shows_both_values(as_staff, limb):
    type(limb).objects.filter(pk=limb.pk).update(foot_length_mm=271, version=2)
    given = {"foot_length_mm": "255", "foot_breadth_mm": "", "amputation": "none", "version": 1}
    page = text(as_staff.post(reverse("limb_edit", args=[limb.pk]), given))
    assert "271.0" in page
    assert 'value="255"' in page


def test_feet_of_very_different_length_are_asked_about(as_staff, person, limb):
    factories.limb(of=person, side="right")
    given = {"foot_length_mm": "226", "amputation": "none", "version": 1}
    page = text(as_staff.post(reverse("limb_edit", args=[limb.pk]), given, follow=True))
    assert "The two feet now differ by 34.0 mm" in page


def test_last_findings_stand_beside_empty_fields(as_staff, limb):
    factories.finding(of=limb, toe_pressure_mmhg=55, dorsalis_pedis="absent")
    page = text(as_staff.get(reverse("finding_new", args=[limb.pk])))
    assert "Last: 55 mmHg" in page
    assert "Last: Not felt" in page
    assert 'value="55"' not in page
    assert 'value="absent" id="id_dorsalis_pedis_2" checked' not in page


def test_findings_are_stored_with_one_audit_row(as_staff, limb):
    given = {"found_on": timezone.localdate().isoformat(), "toe_pressure_mmhg": "48", "charcot": "none"}
    assert as_staff.post(reverse("finding_new", args=[limb.pk]), given).status_code == 302
    row = LimbFinding.objects.get()
    assert (row.toe_pressure_mmhg, row.charcot, row.fragile_skin) == (48, "none", None)
    assert AuditEvent.objects.count() == 1


def test_an_empty_look_is_refused_and_keeps_the_note(as_staff, limb):
    given = {"found_on": timezone.localdate().isoformat(), "note": "came in a hurry"}
    response = as_staff.post(reverse("finding_new", args=[limb.pk]), given)
    assert response.status_code == 422
    assert "Nothing was looked at" in text(response)
    assert "came in a hurry" in text(response)
