"""Photos are cleaned, named by their hash, and need the person's consent."""

import io
from datetime import timedelta

import pytest
from django.utils import timezone
from PIL import Image

from clinic.capture.writes.photos import consent_give, consent_withdraw, photo_store
from clinic.models import AuditEvent, Photo
from clinic.record.errors import Refused
from tests import factories

TODAY = timezone.localdate


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def picture(size=(60, 40), *, exif=None, form="JPEG"):
    out = io.BytesIO()
    Image.new("RGB", size, "#b06050").save(out, form, **({"exif": exif} if exif else {}))
    return io.BytesIO(out.getvalue())


def test_a_photo_without_consent_is_refused(lesion, staff):
    with pytest.raises(Refused, match="no consent"):
        photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture())
    assert not Photo.objects.exists()


def test_a_photo_loses_its_metadata_and_is_turned_upright(lesion, staff):
    consent_give(by=staff, person=lesion.limb.person, given_on=TODAY())
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turned by a quarter
    exif[0x010F] = "Maker of the camera"
    photo = photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture((60, 40), exif=exif))
    kept = Image.open(photo.file.open("rb"))
    assert kept.size == (40, 60)
    assert not kept.getexif()
    assert photo.sha256 in photo.file.name
    assert AuditEvent.objects.filter(verb="added", target_kind="photo").count() == 1


def test_withdrawn_consent_stops_new_photos_and_keeps_the_old(lesion, staff):
    person = lesion.limb.person
    consent_give(by=staff, person=person, given_on=TODAY() - timedelta(days=9))
    photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture())
    consent_withdraw(by=staff, person=person, withdrawn_on=TODAY())
    with pytest.raises(Refused, match="no consent"):
        photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture())
    assert Photo.objects.count() == 1


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"\xff\xd8\xff\xe0 cut short",
        b"GIF89a",
    ],
)
def test_what_is_not_a_picture_is_refused(lesion, staff, content):
    consent_give(by=staff, person=lesion.limb.person, given_on=TODAY())
    with pytest.raises(Refused, match="not a readable JPEG, PNG or HEIC"):
        photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=io.BytesIO(content))


def test_a_small_file_of_too_many_pixels_is_refused(lesion, staff):
    consent_give(by=staff, person=lesion.limb.person, given_on=TODAY())
    with pytest.raises(Refused, match="pixels"):
        photo_store(by=staff, lesion=lesion, taken_on=TODAY(), upload=picture((8000, 6000), form="PNG"))
