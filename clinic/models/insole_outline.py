"""The outline of the real insole in a device: what imprint, plan and template lie on."""

from __future__ import annotations

from django.db import models

from .record import between, one_of
from .withdrawable import Withdrawable, withdrawn_whole


class OutlineHow(models.TextChoices):
    PHOTO = "photo", "Traced on a photo or scan with a card or frame beside it"
    GRID = "grid", "Drawn round on the printed grid, its points read off"


class InsoleOutline(Withdrawable):
    """Of one device; of the foot without one where none was running. The newest that stands is used."""

    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="insole_outlines")
    prescription = models.ForeignKey(
        "clinic.Prescription",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="insole_outlines",
    )
    taken_on = models.DateField()
    how = models.CharField(max_length=5, choices=OutlineHow.choices)
    #: Origin at the heel edge on the long axis, y to the toes, x lateral [mm].
    outline_mm = models.JSONField()
    length_mm = models.FloatField("length (mm)")
    # The photo it was traced on.
    scale = models.ForeignKey(
        "clinic.PhotoScale", on_delete=models.PROTECT, null=True, blank=True, related_name="insole_outlines"
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-taken_on", "-pk"]
        constraints = [
            one_of("how", OutlineHow, name="insole_outline_how"),
            between("length_mm", 80, 460, name="insole_outline_length"),
            withdrawn_whole(name="insole_outline_withdrawn"),
        ]

    def __str__(self) -> str:
        return f"Insole outline of {self.taken_on:%-d %b %Y}"
