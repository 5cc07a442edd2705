"""The way from a begun visit over Today to a finished one."""

import pytest
from django.utils import timezone

from clinic.models import Visit
from tests import factories
from tests.clinic.form_fields import Fields

pytestmark = pytest.mark.django_db


@pytest.fixture
def wounds(person):
    limb = factories.limb(of=person)
    factories.weight(of=person)
    return factories.lesion(on=limb, place="mth_1"), factories.lesion(on=limb, place="mth_4")


def area(lesion):
    head = f"lesion-{lesion.pk}"
    return {f"{head}-length_mm": "20", f"{head}-width_mm": "10", f"{head}-debridement": "before"}


def begin(client, wounds, **more):
    path = f"/people/{wounds[0].limb.person_id}/visits/new/"
    key = Fields(client.get(path).content.decode()).values["submission_key"][0]
    data = {
        "submission_key": key,
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": "none",
        "fall": "no",
        "later": "yes",
        **area(wounds[0]),
        **more,
    }
    return client.post(path, data)


def test_a_visit_is_left_and_finished_by_somebody_else(as_staff, as_podiatrist, staff, podiatrist, wounds):
    assert begin(as_staff, wounds)["Location"] == "/today/"
    visit = Visit.objects.get()
    assert visit.unfinished
    today = as_podiatrist.get("/today/").content.decode()
    assert f"/visits/{visit.pk}/finish/" in today
    path = f"/visits/{visit.pk}/finish/"
    page = as_podiatrist.get(path).content.decode()
    assert f"looked at by {staff}" in page
    # Only what is left is asked.
    assert f"lesion-{wounds[0].pk}-length_mm" not in page
    assert f"lesion-{wounds[1].pk}-length_mm" in page
    assert 'name="fall"' not in page
    assert 'name="pain"' in page
    data = {
        "version": visit.version,
        "visited_on": visit.visited_on.isoformat(),
        "red_flags": "none",
        "pain": "none",
        **area(wounds[1]),
    }
    back = as_podiatrist.post(path, data)
    assert back.status_code == 422
    assert "choose one, or say why there is none" in back.content.decode()
    assert as_podiatrist.post(path, {**data, "next_in": "7"}).status_code == 302
    visit.refresh_from_db()
    assert (visit.unfinished, visit.fall, visit.pain) == (False, False, "none")
    shown = as_staff.get(f"/visits/{visit.pk}/").content.decode()
    assert f"By {staff}; finished by {podiatrist}" in shown
    assert shown.count(f"By {podiatrist}") == 1
    assert as_podiatrist.get(path)["Location"] == f"/visits/{visit.pk}/"


def test_leaving_still_asks_for_red_flags_and_keeps_what_was_typed(as_staff, wounds):
    answer = begin(as_staff, wounds, red_flags=[])
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Red flags: not answered" in page
    assert 'value="20"' in page
    assert "Next visit: no date given" not in page
    assert not Visit.objects.exists()
