"""The card a person leaves with when a device is sealed on: until when, whom to call, how to open it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord


class OpeningCard(ClinicalRecord):
    """One printed card for one sealing; its words are copies, so that a reprint says what the person
    holds.
    """

    SITE_PATH = "prescription__limb__person__site"

    prescription = models.ForeignKey(
        "clinic.Prescription", on_delete=models.PROTECT, related_name="opening_cards"
    )
    sealed_on = models.DateField("fitted and sealed on")
    open_by = models.DateField("must be opened by")
    content = models.JSONField()
    handed_at = models.DateTimeField("given to the patient at", null=True, blank=True)
    handed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-sealed_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(open_by__gt=models.F("sealed_on")),
                name="opening_card_order",
                violation_error_message="the day to open lies after the sealing",
            ),
            models.CheckConstraint(
                condition=models.Q(handed_at__isnull=True, handed_by__isnull=True)
                | models.Q(handed_at__isnull=False, handed_by__isnull=False),
                name="opening_card_handed",
                violation_error_message="a card given to the patient has its time and who gave it",
            ),
        ]

    def __str__(self) -> str:
        return f"Opening card of {self.sealed_on:%-d %b %Y}"
