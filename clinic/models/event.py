"""Something that happened to a limb and may bend its healing curve."""

from django.db import models

from .record import ClinicalRecord, one_of


class EventKind(models.TextChoices):
    DEBRIDED = "debrided", "Debrided"
    SAMPLE = "sample", "Sample taken"
    IMAGING = "imaging", "Imaging"
    ANTIBIOTIC = "antibiotic", "Antibiotic"
    REVASCULARISATION = "revascularisation", "Revascularisation"
    SURGERY = "surgery", "Surgery"
    ADMISSION = "admission", "Admission"
    FALL = "fall", "Fall"
    DEVICE_BROKEN = "device_broken", "Device broken"
    INSOLE_REPLACED = "insole_replaced", "Insole replaced"
    DECISION = "decision", "Decided"


class Event(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="events")
    lesion = models.ForeignKey(
        "clinic.Lesion", on_delete=models.PROTECT, related_name="events", null=True, blank=True
    )
    happened_on = models.DateField()
    kind = models.CharField(max_length=18, choices=EventKind.choices)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-happened_on", "-pk"]
        constraints = [one_of("kind", EventKind, name="event_kind")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.happened_on}"
