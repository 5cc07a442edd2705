"""Bringing a photo to millimetres: the marks are tried, refused with the reason, or kept with their error."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from django.core.files.base import ContentFile
from django.db import transaction
from PIL import Image

from clinic.capture.writes.photos import photo_bytes
from clinic.models import Photo, PhotoScale, PhotoSubject, Reference, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check
from offload.core.errors import RectifyError
from offload.core.shapes.card import Edges, guess_corners, snap_to_edges
from offload.core.shapes.rectify import ID1_CARD, Rectification, rectify, scale_by_ruler, upright
from offload.core.shapes.scale_error import (
    LARGEST_ERROR,
    MARKED_BY_HAND,
    corner_noise,
    rectangle_error,
    ruler_error,
)
from offload.core.sheets.reference_sheet import REFERENCE_FRAME

__all__ = [
    "PlaneFrame",
    "TriedScale",
    "plane_frame",
    "plane_picture",
    "scale_guess",
    "scale_store",
    "scale_try",
]

SIZES = {Reference.CARD: ID1_CARD, Reference.SHEET: REFERENCE_FRAME}
REACH_MM = 100.0  # of the flattened picture round the reference; further off, the scale is too uncertain
INSOLE_REACH_MM = 340.0  # a card may lie at either end of an insole
FINEST, LARGEST_SIDE_PX = 12.0, 2200  # [px/mm], [px] of the flattened picture
PLANE_CAVEAT = (
    "The reference must lie flat in the plane of the ulcer: 5 mm lower or higher at 30 cm "
    "changes the area by 3 %."
)
Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class TriedScale:
    """What a set of marks would give."""

    reference: str
    marks: Points
    snapped: bool
    plane: Rectification
    error_percent: float
    distance_mm: Decimal | None = None

    @property
    def caveat(self) -> str:
        return " ".join(filter(None, [self.plane.caveat, PLANE_CAVEAT]))


@dataclass(frozen=True)
class PlaneFrame:
    """What of the plane the flattened picture shows [mm], and how finely [px/mm]."""

    left: float
    top: float
    width: float
    height: float
    scale: float


def scale_guess(photo: Photo, reference: str) -> Points | None:
    """Corners of the reference where they are clear in the picture, as a first guess."""
    if reference not in SIZES:
        return None
    edges = guess_corners(_grey(photo), SIZES[Reference(reference)])
    return None if edges is None else edges.corners


def scale_try(
    *,
    photo: Photo,
    reference: str,
    marks: Sequence[tuple[float, float]],
    distance_mm: Decimal | None = None,
    snap: bool = True,
) -> TriedScale:
    """Compute a scale from marks without keeping it; refused where it would not be good enough."""
    _marks_check(photo, reference, marks)
    try:
        if reference == Reference.RULER:
            return _by_ruler(marks, distance_mm)
        return _by_rectangle(photo, Reference(reference), marks, snap)
    except RectifyError as fault:
        sentence = str(fault)
        raise Refused(f"{sentence[0].upper()}{sentence[1:]}.", field="marks") from fault


def _marks_check(photo: Photo, reference: str, marks: Sequence[tuple[float, float]]) -> None:
    if reference not in Reference.values:
        raise Refused(f"Reference: {reference or 'nothing'} is not one of the list.", field="reference")
    wanted = 2 if reference == Reference.RULER else 4
    if len(marks) != wanted:
        raise Refused(f"Marks: {len(marks)} given; {wanted} are needed.", field="marks")
    for x, y in marks:
        if not (-5 <= x <= photo.width_px + 5 and -5 <= y <= photo.height_px + 5):
            raise Refused(
                f"Marks: ({x:g}, {y:g}) lies outside the picture of {photo.width_px} × {photo.height_px} "
                "pixels.",
                field="marks",
            )


def _by_ruler(marks: Sequence[tuple[float, float]], distance_mm: Decimal | None) -> TriedScale:
    if distance_mm is None:
        raise Refused(
            "Distance on the ruler: missing; type the millimetres between the marks.", field="distance_mm"
        )
    first, second = marks
    plane = scale_by_ruler(first, second, float(distance_mm))
    error = ruler_error(math.dist(first, second))
    _error_check(error)
    return TriedScale(Reference.RULER, tuple(marks), False, plane, error, distance_mm)


def _by_rectangle(
    photo: Photo, reference: Reference, marks: Sequence[tuple[float, float]], snap: bool
) -> TriedScale:
    # A card that stands upright is turned, so that the flattened picture stands as the photo does.
    marks, size, _ = upright(marks, SIZES[reference])
    edges: Edges | None = snap_to_edges(_grey(photo), marks) if snap else None
    if edges is None:
        corners: Points = tuple(marks)
        plane = rectify(corners, size)
        noise = MARKED_BY_HAND
    else:
        corners = edges.corners
        plane = rectify(corners, size, edges.points)
        side_px = math.dist(corners[0], corners[1])
        count = min(len(points) for points in edges.points)
        noise = corner_noise((plane.residual or 0.0) * side_px / size[0], count)
    error = rectangle_error(corners, size, (photo.width_px / 2, photo.height_px / 2), noise)
    _error_check(error)
    return TriedScale(reference, corners, edges is not None, plane, error)


def _error_check(error: float) -> None:
    if error > LARGEST_ERROR:
        raise Refused(
            f"Expected area error {error:.0f} %; the limit is {LARGEST_ERROR:g} %: hold the camera nearer "
            "and straighter, "
            "or lay the reference closer to the ulcer.",
            field="marks",
        )


@transaction.atomic
def scale_store(
    *,
    by: User,
    photo: Photo,
    reference: str,
    marks: Sequence[tuple[float, float]],
    distance_mm: Decimal | None = None,
    snap: bool = True,
) -> PhotoScale:
    """Keep the scale of a photo; the same marks sent again find the scale they made."""
    standing_check(photo)
    tried = scale_try(photo=photo, reference=reference, marks=marks, distance_mm=distance_mm, snap=snap)
    kept_marks = [[round(x, 2), round(y, 2)] for x, y in tried.marks]
    last = photo.scales.first()
    if last is not None and (last.reference, last.marks_px, last.distance_mm) == (
        tried.reference,
        kept_marks,
        tried.distance_mm,
    ):
        return last
    scale = PhotoScale(
        photo=photo,
        reference=tried.reference,
        marks_px=kept_marks,
        distance_mm=tried.distance_mm,
        matrix=[list(row) for row in tried.plane.matrix],
        residual_mm=tried.plane.residual,
        error_percent=round(tried.error_percent, 2),
        caveat=tried.caveat[:400],
    )
    store(scale, by=by)
    person = photo.lesion.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="scaled",
        target=scale,
        person=person,
        reference=scale.reference,
        residual_mm=scale.residual_mm,
        error_percent=scale.error_percent,
    )
    return scale


def plane_frame(scale: PhotoScale) -> PlaneFrame:
    """The part of the reference's plane that the photo shows, near the reference."""
    photo = scale.photo
    matrix = np.array(scale.matrix)
    across, down = np.meshgrid(np.linspace(0, photo.width_px, 40), np.linspace(0, photo.height_px, 40))
    seen = np.column_stack([across.ravel(), down.ravel(), np.ones(across.size)]) @ matrix.T
    flat = seen[seen[:, 2] > 0.05][:, :2] / seen[seen[:, 2] > 0.05][:, 2:]
    centre = np.column_stack([np.array(scale.marks_px), np.ones(len(scale.marks_px))]) @ matrix.T
    middle = (centre[:, :2] / centre[:, 2:]).mean(axis=0)
    reach = INSOLE_REACH_MM if photo.subject == PhotoSubject.INSOLE else REACH_MM
    low = np.maximum(flat.min(axis=0), middle - reach)
    high = np.minimum(flat.max(axis=0), middle + reach)
    width, height = (float(v) for v in high - low)
    finest = min(FINEST, LARGEST_SIDE_PX / max(width, height))
    return PlaneFrame(float(low[0]), float(low[1]), width, height, finest)


def plane_picture(scale: PhotoScale) -> bytes:
    """The photo as seen from straight above the reference's plane; made once and kept in the private
    store.
    """
    storage = scale.photo.file.storage
    name = f"flattened/{scale.photo.sha256[:2]}/{scale.photo.sha256}-{scale.pk}.jpg"
    if storage.exists(name):
        with storage.open(name, "rb") as opened:
            return bytes(opened.read())
    frame = plane_frame(scale)
    to_mm = np.array([[1 / frame.scale, 0, frame.left], [0, 1 / frame.scale, frame.top], [0.0, 0.0, 1.0]])
    back = np.linalg.inv(np.array(scale.matrix)) @ to_mm
    back = back / back[2, 2]
    picture = Image.open(io.BytesIO(photo_bytes(scale.photo)), formats=("JPEG",)).convert("RGB")
    size = (max(1, round(frame.width * frame.scale)), max(1, round(frame.height * frame.scale)))
    flat = picture.transform(
        size, Image.Transform.PERSPECTIVE, tuple(float(v) for v in back.ravel()[:8]), Image.Resampling.BICUBIC
    )
    out = io.BytesIO()
    flat.save(out, "JPEG", quality=88)
    storage.save(name, ContentFile(out.getvalue()))
    return out.getvalue()


def _grey(photo: Photo) -> np.ndarray:
    picture = Image.open(io.BytesIO(photo_bytes(photo)), formats=("JPEG",)).convert("L")
    return np.asarray(picture, dtype=float)
