"""The pages of photos and consent."""

import io

import pytest
from django.utils import timezone
from PIL import Image

from clinic.models import Photo, PhotoConsent
from tests import factories


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


def upload():
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "#b06050").save(out, "JPEG")
    out.seek(0)
    out.name = "IMG_0001.jpg"
    return out


def test_consent_then_photo_then_the_picture_itself(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate().isoformat()
    assert as_staff.post(f"/people/{person.pk}/photo-consent/", {"on": today}).status_code == 302
    assert PhotoConsent.objects.get().withdrawn_on is None
    sent = as_staff.post(f"/lesions/{lesion.pk}/photos/new/", {"photo": upload(), "taken_on": today})
    assert sent.status_code == 302
    answer = as_staff.get(f"/photos/{Photo.objects.get().pk}/file/")
    assert answer["Content-Type"] == "image/jpeg"
    assert "no-store" in answer["Cache-Control"]
    assert Image.open(io.BytesIO(b"".join(answer.streaming_content))).size == (30, 20)


def test_a_photo_of_another_site_is_not_there(as_staff, other_site):
    stranger = factories.person(at=other_site)
    lesion = factories.lesion(on=factories.limb(of=stranger))
    photo = Photo.objects.create(
        lesion=lesion,
        taken_on=timezone.localdate(),
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        created_by=factories.author(),
    )
    assert as_staff.get(f"/photos/{photo.pk}/file/").status_code == 404


def test_a_future_date_of_consent_is_refused_and_kept(as_staff, person):
    answer = as_staff.post(f"/people/{person.pk}/photo-consent/", {"on": "2999-01-01"})
    assert answer.status_code == 422
    assert b"cannot lie in the future" in answer.content
    assert b"2999-01-01" in answer.content


def test_a_manager_takes_no_photos(as_manager, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    assert as_manager.get(f"/lesions/{lesion.pk}/photos/new/").status_code == 403
