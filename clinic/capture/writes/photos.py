"""Taking in photos of a lesion, and the consent to take them."""

from __future__ import annotations

import hashlib
import io
import warnings
from datetime import date, datetime
from typing import IO

import pillow_heif
from django.core.files.base import ContentFile
from django.db import InterfaceError, OperationalError, transaction
from django.utils import timezone
from django.utils.formats import date_format
from PIL import Image, ImageOps

from clinic.models import Lesion, Person, Photo, PhotoConsent, PhotoSubject, User, Visit
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = [
    "NAMES",
    "consent_give",
    "consent_withdraw",
    "photo_bytes",
    "photo_store",
    "thumbnail",
    "thumbnail_name",
]

LARGEST_UPLOAD_BYTES = 15 * 1024 * 1024
# Memory bound of one intake: a large JPEG is decoded at a half, a quarter or an eighth of its size; anything
# else costs up to 4 bytes a pixel to decode and 3 to convert, with one copy on the way: 25 million pixels
# stay under 300 MB.
LARGEST_PIXELS = {"JPEG": 60_000_000}
LARGEST_PIXELS_OTHER = 25_000_000
SMALLEST_EDGE_PX = 16
LARGEST_ASPECT = 6  # a strip is no photo of a foot, and would escape the reduced decoding
LONGEST_EDGE_PX = 2400
THUMBNAIL_PX = 400
ACCEPTED = ("JPEG", "PNG", "HEIF")
NAMES = "JPEG, PNG or HEIC"
pillow_heif.register_heif_opener()
EXIF_IFD, TAKEN, ZONE = 0x8769, 0x9003, 0x9011


def _clean(upload: IO[bytes]) -> tuple[bytes, tuple[int, int], date | None]:
    """Decode and write anew, upright and without any metadata; the upload itself is not kept.

    Returns the new file, its size and the day in the upload's own metadata.
    """
    data = upload.read(LARGEST_UPLOAD_BYTES + 1)
    if len(data) > LARGEST_UPLOAD_BYTES:
        raise Refused(f"Photo: larger than {LARGEST_UPLOAD_BYTES // 2**20} MB.", field="photo")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=ACCEPTED) as picture:
                _size_check(picture)
                taken = _day_of(picture)
                upright = _upright(picture)
    except Refused:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as fault:
        raise Refused("Photo: too many pixels.", field="photo") from fault
    except Exception as fault:
        # Decoders meet hostile files with errors of every kind; all of them mean the same to the person
        # uploading.
        raise Refused(f"Photo: this file is not a readable {NAMES} picture.", field="photo") from fault
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=90)
    return out.getvalue(), upright.size, taken


def _size_check(picture: Image.Image) -> None:
    width, height = picture.size
    most = LARGEST_PIXELS.get(picture.format or "", LARGEST_PIXELS_OTHER)
    if width * height > most:
        raise Refused(
            f"Photo: {width} × {height} pixels; at most {most // 10**6} million are taken.", field="photo"
        )
    if max(width, height) > LARGEST_ASPECT * min(width, height):
        raise Refused(
            f"Photo: {width} × {height} pixels; sides of at most {LARGEST_ASPECT} : 1 are taken.",
            field="photo",
        )
    if min(width, height) < SMALLEST_EDGE_PX:
        raise Refused(
            f"Photo: {width} × {height} pixels; at least {SMALLEST_EDGE_PX} × {SMALLEST_EDGE_PX} are needed.",
            field="photo",
        )


def _upright(picture: Image.Image) -> Image.Image:
    """The pixels alone: scaled down first, so that a large picture is never held twice at full size."""
    orientation = picture.getexif().get(0x0112, 1)
    shrink = LONGEST_EDGE_PX / max(picture.size)
    picture.draft("RGB", (max(1, int(picture.width * shrink)), max(1, int(picture.height * shrink))))
    if picture.mode not in ("L", "RGB"):
        picture = picture.convert("RGB")
    picture.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX))
    # A new picture: comments, profiles and other notes travel in `info`.
    plain = Image.new("RGB", picture.size)
    plain.paste(picture)
    plain.getexif()[0x0112] = orientation if orientation in range(1, 9) else 1
    upright = ImageOps.exif_transpose(plain)
    upright.info.clear()
    return upright


def _day_of(picture: Image.Image) -> date | None:
    stamp = picture.getexif().get_ifd(EXIF_IFD).get(TAKEN)
    try:
        return datetime.strptime(str(stamp)[:10], "%Y:%m:%d").date()
    except ValueError:
        return None


def _day_check(lesion: Lesion, taken_on: date | None, own: date | None) -> date:
    day = taken_on or own
    if day is None:
        raise Refused("Taken on: the picture holds no date of its own; type it.", field="taken_on")
    if day > timezone.localdate():
        raise Refused(
            f"Taken on: {date_format(day)} lies in the future; today is {date_format(timezone.localdate())}.",
            field="taken_on",
        )
    person = lesion.limb.person
    if not person.photo_consents.filter(given_on__lte=day, withdrawn_on=None).exists():
        raise Refused("Photo: no consent of this patient stands on that day; record it first.", field="photo")
    return day


@transaction.atomic
def photo_store(
    *,
    by: User,
    lesion: Lesion,
    taken_on: date | None,
    upload: IO[bytes],
    visit: Visit | None = None,
    subject: str = PhotoSubject.WOUND,
    drawn: bool = False,
    note: str = "",
) -> Photo:
    """Keep a cleaned photo; refused without the person's standing consent. The same picture sent again is
    kept once.

    Without `taken_on` the day in the picture's own metadata is used.
    """
    person = lesion.limb.person
    if taken_on is not None:
        _day_check(lesion, taken_on, None)  # before any decoding
    content, (width, height), own_day = _clean(upload)
    day = _day_check(lesion, taken_on, own_day)
    sha256 = hashlib.sha256(content).hexdigest()
    again = (
        Photo.objects.standing().filter(lesion=lesion, sha256=sha256, taken_on=day, subject=subject).first()
    )
    if again is not None and (visit is None or again.visit_id == visit.pk):
        return again
    photo = Photo(
        lesion=lesion,
        visit=visit,
        taken_on=day,
        sha256=sha256,
        small_sha256=hashlib.sha256(_small(content)).hexdigest(),
        width_px=width,
        height_px=height,
        subject=subject,
        drawn=drawn,
        note=note,
    )
    name = f"photos/{sha256[:2]}/{sha256}.jpg"
    storage = photo.file.storage
    made = not storage.exists(name)  # equal hash, equal picture: it is stored once
    if made:
        storage.save(name, ContentFile(content))
    photo.file.name = name
    try:
        store(photo, by=by)
        audit.record(
            by=by, site=person.site, verb="added", target=photo, person=person, sha256=sha256, subject=subject
        )
    except (OperationalError, InterfaceError):
        # The picture stays: it is sent again, maybe to another server, which may have found it here already
        # and kept its row.
        raise
    except Exception:
        if made:
            storage.delete(name)
        raise
    return photo


def photo_bytes(photo: Photo) -> bytes:
    """The kept picture; refused in words when the store does not hold it."""
    try:
        with photo.file.open("rb") as opened:
            return bytes(opened.read())
    except FileNotFoundError as fault:
        raise Refused("Photo: the picture is not in the store; look at the backup.") from fault
    except OSError as fault:
        raise Refused("Photo: the store of pictures does not answer; try again in some minutes.") from fault


def thumbnail_name(photo: Photo) -> str:
    return f"thumbnails/{photo.sha256[:2]}/{photo.sha256}.jpg"


def _small(content: bytes) -> bytes:
    small = Image.open(io.BytesIO(content), formats=("JPEG",))
    small.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
    out = io.BytesIO()
    small.save(out, "JPEG", quality=82)
    return out.getvalue()


def thumbnail(photo: Photo) -> bytes:
    """A small copy, made when first asked for and kept beside the picture.

    One that is not as the row says is neither shown nor kept: the picture itself gives another.
    """
    name, storage = thumbnail_name(photo), photo.file.storage
    there = storage.exists(name)
    if there:
        with storage.open(name, "rb") as opened:
            kept = bytes(opened.read())
        if hashlib.sha256(kept).hexdigest() == photo.small_sha256:
            return kept
    made = _small(photo_bytes(photo))
    if not there and hashlib.sha256(made).hexdigest() == photo.small_sha256:
        storage.save(name, ContentFile(made))
    return made


@transaction.atomic
def consent_give(*, by: User, person: Person, given_on: date) -> PhotoConsent:
    """Record a dated consent to photos."""
    if person.photo_consents.filter(withdrawn_on=None).exists():
        raise Refused("A consent to photos stands already.")
    consent = store(PhotoConsent(person=person, given_on=given_on), by=by)
    audit.record(by=by, site=person.site, verb="gave consent", target=consent, person=person)
    return consent


@transaction.atomic
def consent_withdraw(*, by: User, person: Person, withdrawn_on: date) -> PhotoConsent:
    """Record that consent was withdrawn: no new photo from then on."""
    consent = person.photo_consents.filter(withdrawn_on=None).select_for_update().first()
    if consent is None:
        raise Refused("No consent to photos stands, so none can be withdrawn.")
    consent.withdrawn_on = withdrawn_on
    store(consent, by=by)
    audit.record(by=by, site=person.site, verb="withdrew consent", target=consent, person=person)
    return consent
