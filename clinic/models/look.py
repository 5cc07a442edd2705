"""A colleague asked to look at a lesion: one sentence puts it at the top of Review, the answer comes back."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord


class Look(ClinicalRecord):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="looks")
    asked_at = models.DateTimeField()
    question = models.CharField(max_length=300)
    answer = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    #: Until then the answer stands on Today.
    read_at = models.DateTimeField(null=True, blank=True)
    read_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(answer="", answered_at__isnull=True, answered_by__isnull=True)
                | (~models.Q(answer="") & models.Q(answered_at__isnull=False, answered_by__isnull=False)),
                name="look_answered",
                violation_error_message="an answer has its words, its time and who gave it",
            ),
            models.CheckConstraint(
                condition=models.Q(read_at__isnull=True) | models.Q(answered_at__isnull=False),
                name="look_read_after",
                violation_error_message="only an answer can be read",
            ),
            models.UniqueConstraint(
                fields=["lesion"],
                condition=models.Q(answer=""),
                name="look_one_open",
                violation_error_message="a question about this ulcer was asked already",
            ),
        ]

    def __str__(self) -> str:
        return f"Question to podiatrist of {self.asked_at:%-d %b %Y}"
