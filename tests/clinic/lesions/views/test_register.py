"""Adding a lesion and correcting it."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.guidelines.sites import SITES
from clinic.models import AuditEvent, Episode, Lesion
from tests import factories


def iso(days_back):
    return (timezone.localdate() - timedelta(days=days_back)).isoformat()


def text(response):
    return response.content.decode()


@pytest.fixture
def with_feet(person):
    factories.limb(of=person)
    factories.limb(of=person, side="right")
    return person


@pytest.fixture
def given():
    return {
        "side": "right",
        "place": "mth_1",
        "wound_kind": "ulcer",
        "cause": "neuropathic",
        "onset_on": iso(30),
        "first_seen_on": iso(0),
        "first_presented_on": iso(12),
        "referred_by": "a practice nurse",
        "first_assessed_on": iso(0),
    }


def test_another_clinics_lesion_is_not_found_and_a_manager_is_refused(
    as_staff, as_manager, other_site, with_feet
):
    elsewhere = factories.lesion(on=factories.limb(of=factories.person(at=other_site)))
    ours = factories.lesion(on=with_feet.limbs.get(side="left"))
    assert as_staff.get(reverse("lesion_edit", args=[elsewhere.pk])).status_code == 404
    assert as_manager.get(reverse("lesion_edit", args=[ours.pk])).status_code == 403


def test_a_lesion_is_added_on_its_side_and_opens_the_episode(as_staff, with_feet, given):
    response = as_staff.post(reverse("lesion_new", args=[with_feet.pk]), given)
    lesion = Lesion.objects.get()
    assert response.headers["Location"] == reverse("lesion", args=[lesion.pk])
    assert (lesion.limb.side, lesion.label) == ("right", "A")
    assert Episode.objects.get().referred_by == "a practice nurse"
    assert AuditEvent.objects.count() == 1


def test_every_place_of_both_feet_is_a_link_that_works_without_a_script(as_staff, with_feet):
    page = text(as_staff.get(reverse("lesion_new", args=[with_feet.pk])))
    for side in ("left", "right"):
        for place in SITES:
            assert f"?side={side}&amp;place={place}#" in page


def test_a_place_chosen_on_the_map_is_chosen_in_the_form(as_staff, with_feet):
    page = text(as_staff.get(reverse("lesion_new", args=[with_feet.pk]), {"side": "left", "place": "mth_3"}))
    assert '<option value="mth_3" selected>' in page


def test_a_fault_keeps_all_typed_text(as_staff, with_feet, given):
    response = as_staff.post(
        reverse("lesion_new", args=[with_feet.pk]), {**given, "onset_on": "", "side": ""}
    )
    assert response.status_code == 422
    assert 'value="a practice nurse"' in text(response)
    assert '<option value="mth_1" selected>' in text(response)


def test_a_second_press_does_not_add_the_lesion_twice(as_staff, with_feet, given):
    url = reverse("lesion_new", args=[with_feet.pk])
    as_staff.post(url, given)
    response = as_staff.post(url, given)
    assert response.status_code == 422
    assert 'type="checkbox" name="another_here"' in text(response)
    assert Lesion.objects.count() == 1


def test_coming_back_is_asked_and_recorded(as_staff, with_feet, given):
    today = timezone.localdate()
    before = factories.lesion(
        on=with_feet.limbs.get(side="right"),
        place="mth_1",
        state="healed",
        outcome="healed",
        first_seen_on=today - timedelta(days=200),
        closed_on=today - timedelta(days=90),
        confirmed_on=today - timedelta(days=70),
    )
    url = reverse("lesion_new", args=[with_feet.pk])
    assert "Say whether it has come back" in text(as_staff.post(url, given))
    assert as_staff.post(url, {**given, "recurs_of": before.pk}).status_code == 302
    assert Lesion.objects.get(state="open").recurs_of == before


def test_someone_who_moved_gets_no_form_and_no_lesion(as_staff, with_feet, given):
    with_feet.state, with_feet.state_on = "moved", timezone.localdate()
    with_feet.save()
    url = reverse("lesion_new", args=[with_feet.pk])
    assert "no longer in care" in text(as_staff.get(url))
    assert as_staff.post(url, given).status_code == 422
    assert not Lesion.objects.exists()


def test_a_correction_needs_a_reason_and_shows_both_values_on_conflict(as_staff, with_feet, given):
    lesion = factories.lesion(on=with_feet.limbs.get(side="left"), place="mth_2")
    url = reverse("lesion_edit", args=[lesion.pk])
    fields = {key: given[key] for key in ("wound_kind", "cause", "onset_on", "first_seen_on")}
    typed = {**fields, "side": "left", "place": "mth_4", "version": 1, "why": ""}
    assert as_staff.post(url, typed).status_code == 422
    Lesion.objects.filter(pk=lesion.pk).update(place="mth_5", version=2)
    response = as_staff.post(url, {**typed, "why": "looked again"})
    assert response.status_code == 422
    assert "Under the fifth metatarsal head</td><td>Under the fourth metatarsal head" in text(response)
    assert as_staff.post(url, {**typed, "why": "looked again", "version": 2}).status_code == 302
    lesion.refresh_from_db()
    assert (lesion.place, lesion.version) == ("mth_4", 3)
