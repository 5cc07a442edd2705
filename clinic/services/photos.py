"""Taking in photos of a lesion, and the consent to take them."""

from __future__ import annotations

import hashlib
import io
import warnings
from datetime import date
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from PIL import Image, ImageOps, UnidentifiedImageError

from clinic.models import Lesion, Person, Photo, PhotoConsent, User, Visit

from . import audit
from .errors import Refused
from .records import store

__all__ = ["consent_give", "consent_withdraw", "photo_store"]

LARGEST_UPLOAD_BYTES = 15 * 1024 * 1024
LARGEST_PIXELS = 40_000_000
LONGEST_EDGE_PX = 2400
ACCEPTED = ("JPEG", "PNG")


def _clean(upload: IO[bytes]) -> tuple[bytes, tuple[int, int]]:
    """Decode and write anew, upright and without any metadata; the upload itself is not kept."""
    data = upload.read(LARGEST_UPLOAD_BYTES + 1)
    if len(data) > LARGEST_UPLOAD_BYTES:
        raise Refused(f"Photo: larger than {LARGEST_UPLOAD_BYTES // 2**20} MB.", field="photo")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=ACCEPTED)
            if picture.width * picture.height > LARGEST_PIXELS:
                raise Refused(
                    f"Photo: {picture.width} × {picture.height} pixels; at most {LARGEST_PIXELS // 10**6} million.",
                    field="photo",
                )
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        raise Refused("Photo: this file is not a readable JPEG or PNG picture.", field="photo") from fault
    except Image.DecompressionBombWarning as fault:
        raise Refused("Photo: too many pixels.", field="photo") from fault
    upright.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=88)
    return out.getvalue(), upright.size


@transaction.atomic
def photo_store(
    *,
    by: User,
    lesion: Lesion,
    taken_on: date,
    upload: IO[bytes],
    visit: Visit | None = None,
    drawn: bool = False,
    note: str = "",
) -> Photo:
    """Keep a cleaned photo of a lesion; refused without the person's standing consent."""
    person = lesion.limb.person
    if not person.photo_consents.filter(given_on__lte=taken_on, withdrawn_on=None).exists():
        raise Refused("Photo: no consent of this person stands on that day; record it first.", field="photo")
    content, (width, height) = _clean(upload)
    sha256 = hashlib.sha256(content).hexdigest()
    photo = Photo(
        lesion=lesion,
        visit=visit,
        taken_on=taken_on,
        sha256=sha256,
        width_px=width,
        height_px=height,
        drawn=drawn,
        note=note,
    )
    photo.file.save(f"{sha256[:2]}/{sha256}.jpg", ContentFile(content), save=False)
    store(photo, by=by)
    audit.record(by=by, site=person.site, verb="added", target=photo, person=person, sha256=sha256)
    return photo


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
