"""A photo brought to millimetres, and what was traced over it."""

from __future__ import annotations

import uuid

from django.db import models

from .record import ClinicalRecord, between, one_of


class Reference(models.TextChoices):
    """What of known size lies beside the lesion."""

    CARD = "card", "A card of bank-card size (85.60 × 53.98 mm)"
    SHEET = "sheet", "Our printed reference sheet (80 × 50 mm frame)"
    RULER = "ruler", "A ruler only: two marks"


class PhotoScale(ClinicalRecord):
    """How one photo was brought to millimetres. A new scale leaves the old one, and what was traced on it."""

    SITE_PATH = "photo__lesion__limb__person__site"

    photo = models.ForeignKey("clinic.Photo", on_delete=models.PROTECT, related_name="scales")
    reference = models.CharField(max_length=5, choices=Reference.choices)
    # Corners in order, or the two ends of a length on the ruler, in pixels of the kept picture.
    marks_px = models.JSONField()
    distance_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    matrix = models.JSONField()
    residual_mm = models.FloatField(null=True, blank=True)
    error_percent = models.FloatField("expected error of an area (%)")
    caveat = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            one_of("reference", Reference, name="scale_reference"),
            between("error_percent", 0, 100, name="scale_error"),
            between("distance_mm", 1, 500, name="scale_distance"),
        ]

    def __str__(self) -> str:
        return f"Scale of photo {self.photo_id}"


class Trace(ClinicalRecord):
    """An outline drawn over a scaled photo, in millimetres of its plane: parts, each a ring and its holes."""

    SITE_PATH = "scale__photo__lesion__limb__person__site"

    scale = models.ForeignKey(PhotoScale, on_delete=models.PROTECT, related_name="traces")
    outline_mm = models.JSONField()
    area_mm2 = models.FloatField()
    perimeter_mm = models.FloatField()
    length_mm = models.FloatField()
    width_mm = models.FloatField()
    # Drawn without seeing an earlier outline: only such traces count as repeats.
    blind = models.BooleanField("drawn without seeing another outline", default=True)
    submission_key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    class Meta:
        ordering = ["created_at", "pk"]
        constraints = [between("area_mm2", 0, 200000, name="trace_area")]

    def __str__(self) -> str:
        return f"Trace {self.pk} on photo scale {self.scale_id}"
