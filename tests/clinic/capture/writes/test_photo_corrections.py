"""A photo withdrawn is out of the row and measured no more; its day and note are corrected."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from clinic.capture.reads.repeat import site_error
from clinic.capture.writes.photo_corrections import photo_correct, photo_withdraw
from clinic.capture.writes.photos import consent_give, photo_store
from clinic.capture.writes.scales import scale_store
from clinic.capture.writes.traces import trace_store
from clinic.models import PhotoScale
from clinic.record.errors import Refused
from tests import factories
from tests.clinic.capture.writes.test_photos import TODAY, _own_store, lesion, picture

__all__ = ["_own_store", "lesion"]


@pytest.fixture
def photo(lesion, staff):
    consent_give(by=staff, person=lesion.limb.person, given_on=TODAY() - timedelta(days=9))
    return photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture())


def test_a_photo_withdrawn_leaves_the_row_and_is_measured_no_more(staff, lesion, photo, as_staff):
    scale = PhotoScale.objects.create(
        photo=photo,
        reference="ruler",
        marks_px=[[1, 1], [50, 1]],
        distance_mm=40,
        matrix=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        error_percent=1,
        created_by=staff,
    )
    photo_withdraw(by=staff, photo=photo, reason="another foot", expected_version=photo.version)
    page = as_staff.get(reverse("lesion", args=[lesion.pk])).content.decode()
    assert reverse("photo_thumb", args=[photo.pk]) not in page
    marks = [(1.0, 1.0), (50.0, 1.0)]
    with pytest.raises(Refused, match="was withdrawn"):
        scale_store(by=staff, photo=photo, reference="ruler", marks=marks, distance_mm=40)
    with pytest.raises(Refused, match="was withdrawn"):
        trace_store(by=staff, scale=scale, outline=[[0, 0], [9, 0], [9, 9]], submission_key=uuid.uuid4())
    assert site_error(lesion.limb.person.site_id) is None
    assert photo.history.count() == 2
    again = photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture())
    assert again.pk != photo.pk


def test_day_and_note_are_corrected_and_a_visit_s_day_is_not(staff, photo):
    told = {"note": "from the side", "reason": "typed wrongly", "expected_version": photo.version}
    photo_correct(by=staff, photo=photo, taken_on=TODAY() - timedelta(days=1), **told)
    assert (photo.taken_on, photo.note) == (TODAY() - timedelta(days=1), "from the side")
    photo.visit = factories.visit(of=photo.lesion.limb.person)
    photo.save()
    told["expected_version"] = photo.version
    with pytest.raises(Refused, match="correct the day of the visit"):
        photo_correct(by=staff, photo=photo, taken_on=TODAY(), **told)


def test_the_pages_correct_and_withdraw(as_staff, photo):
    url = reverse("photo_correct", args=[photo.pk])
    sent = {"taken_on": TODAY().isoformat(), "note": "n", "version": photo.version}
    assert as_staff.post(url, sent).status_code == 422
    assert as_staff.post(url, {**sent, "reason": "typo"}).status_code == 302
    url = reverse("photo_withdraw", args=[photo.pk])
    assert as_staff.post(url, {"version": photo.version + 1, "reason": "not hers"}).status_code == 302
    assert as_staff.get(url).status_code == 404
