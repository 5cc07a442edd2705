"""A person's record handed from one clinic to another: asked by the one, accepted by the other."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord, one_of


class TransferState(models.TextChoices):
    ASKED = "asked", "Waiting for an answer"
    ACCEPTED = "accepted", "Accepted"
    DECLINED = "declined", "Declined"
    WITHDRAWN = "withdrawn", "Withdrawn"
    UNDONE = "undone", "Accepted, then sent back"


class Transfer(ClinicalRecord):
    """Until it is accepted nothing moves. Both clinics may see this row; the record only the one it is at."""

    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="transfers")
    from_site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="transfers_out")
    to_site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="transfers_in")
    because = models.CharField(max_length=300)
    asked_at = models.DateTimeField()
    #: The number there: the first clinic finds by it what it handed over.
    record_number = models.CharField(max_length=20)
    state = models.CharField(max_length=9, choices=TransferState.choices, default=TransferState.ASKED)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    answer_note = models.CharField(max_length=300, blank=True)
    #: The clinic that asked has seen the answer; until then it stands on its Today.
    answer_seen_at = models.DateTimeField(null=True, blank=True)
    answer_seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    #: In the order written: noun, number, column, before, after.
    changes = models.JSONField(default=list, blank=True)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_because = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            one_of("state", TransferState, name="transfer_state"),
            models.CheckConstraint(
                condition=~models.Q(from_site=models.F("to_site")),
                name="transfer_two_sites",
                violation_error_message="a transfer goes to another clinic",
            ),
            models.CheckConstraint(
                condition=~models.Q(because=""),
                name="transfer_because",
                violation_error_message="a transfer needs its reason in words",
            ),
            models.CheckConstraint(
                condition=models.Q(state="asked", answered_at__isnull=True)
                | (~models.Q(state="asked") & models.Q(answered_at__isnull=False)),
                name="transfer_answered",
                violation_error_message="an answered transfer has the time of its answer",
            ),
            models.CheckConstraint(
                condition=(models.Q(state="undone") & models.Q(undone_at__isnull=False))
                | (~models.Q(state="undone") & models.Q(undone_at__isnull=True)),
                name="transfer_undone",
                violation_error_message="a transfer sent back has the time of it",
            ),
            models.UniqueConstraint(
                fields=["person"],
                condition=models.Q(state="asked"),
                name="transfer_one_asked",
                violation_error_message="a transfer of this patient awaits an answer already",
            ),
        ]

    def __str__(self) -> str:
        return f"Transfer asked for on {self.asked_at:%-d %b %Y}"
