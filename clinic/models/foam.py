"""Which site measured which foam; the foam itself knows no clinic."""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord


class SiteFoam(ClinicalRecord):
    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="foams")
    foam = models.OneToOneField("offload.ClinicFoam", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"Foam {self.foam_id}"
