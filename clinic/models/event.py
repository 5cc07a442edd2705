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


class Anticoagulant(models.TextChoices):
    """Asked before a debridement; what is not known is not "no"."""

    YES = "yes", "Yes"
    NO = "no", "No"
    NOT_KNOWN = "not_known", "Not known"


class Event(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="events")
    lesion = models.ForeignKey(
        "clinic.Lesion", on_delete=models.PROTECT, related_name="events", null=True, blank=True
    )
    happened_on = models.DateField()
    kind = models.CharField(max_length=18, choices=EventKind.choices)
    note = models.CharField(max_length=300, blank=True)
    # Of a debridement alone.
    sharp = models.BooleanField("sharp debridement", null=True, blank=True)
    anticoagulant = models.CharField(
        "on an anticoagulant", max_length=9, choices=Anticoagulant.choices, blank=True
    )
    anticoagulant_done = models.CharField("what was done about bleeding", max_length=200, blank=True)
    despite = models.CharField("who agreed despite severe ischaemia", max_length=200, blank=True)

    class Meta:
        ordering = ["-happened_on", "-pk"]
        constraints = [
            one_of("kind", EventKind, name="event_kind"),
            one_of("anticoagulant", Anticoagulant, name="event_anticoagulant", blank=True),
            models.CheckConstraint(
                condition=models.Q(kind="debrided")
                | models.Q(sharp__isnull=True, anticoagulant="", anticoagulant_done="", despite=""),
                name="event_debridement_only",
                violation_error_message="sharp, anticoagulant and agreement belong to a debridement",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.happened_on:%-d %b %Y}"
