"""What was decided on a device, one sentence each, in words as they stood. Rows are added, never changed."""

from __future__ import annotations

import hashlib
import json

from django.db import models

from .record import ClinicalRecord, one_of


class DecisionKind(models.TextChoices):
    SIGNED = "signed", "Chosen and signed"
    SECOND = "second", "Signed second"
    PHONED = "phoned", "Signed second by telephone"
    CONFIRM = "confirm", "Second signature confirmed"
    FITTED = "fitted", "Fitted"
    SEALED = "sealed", "Fitted and sealed"
    OPENED = "opened", "Opened"
    STOPPED = "stopped", "Stopped"
    UNDONE = "undone", "Taken back"
    MOVED = "moved", "Worn for another ulcer than recorded"


class DecisionLine(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="decisions")
    prescription = models.ForeignKey(
        "clinic.Prescription", on_delete=models.PROTECT, related_name="decisions"
    )
    kind = models.CharField(max_length=8, choices=DecisionKind.choices)
    decided_on = models.DateField()
    who = models.CharField(max_length=160)
    sentence = models.TextField()
    #: Hash of the signed record the sentence is about.
    content_sha256 = models.CharField(max_length=64, blank=True)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["decided_on", "pk"]
        constraints = [one_of("kind", DecisionKind, name="decision_kind")]

    def __str__(self) -> str:
        return self.sentence

    def computed_digest(self) -> str:
        """Hash of everything the line says."""
        parts = [
            self.prescription_id,
            self.kind,
            str(self.decided_on),
            self.who,
            self.sentence,
            self.content_sha256,
        ]
        return hashlib.sha256(json.dumps(parts, ensure_ascii=False).encode()).hexdigest()
