"""Two records of one person made into one, with what moved; and two records that were told apart."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord


class Merge(ClinicalRecord):
    """One merge. `changes` says of each column that was written what stood before and after, so undoing
    is exact.
    """

    SITE_PATH = "kept__site"

    kept = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="merges")
    emptied = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="merged_by")
    merged_at = models.DateTimeField()
    because = models.CharField(max_length=300)
    #: In the order written: noun, number, column, before, after, and whether the row came from the emptied
    #: record.
    changes = models.JSONField(default=list, blank=True)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_because = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-merged_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(kept=models.F("emptied")), name="merge_two_records"),
            models.CheckConstraint(
                condition=~models.Q(because=""),
                name="merge_because",
                violation_error_message="a merge needs its reason in words",
            ),
            models.CheckConstraint(
                condition=models.Q(undone_at__isnull=True, undone_by__isnull=True, undone_because="")
                | (models.Q(undone_at__isnull=False, undone_by__isnull=False) & ~models.Q(undone_because="")),
                name="merge_undone",
                violation_error_message="an undone merge has its time, its reason and who undid it",
            ),
            models.UniqueConstraint(
                fields=["emptied"],
                condition=models.Q(undone_at__isnull=True),
                name="merge_once",
                violation_error_message="this record was merged already",
            ),
        ]

    def __str__(self) -> str:
        return f"Merge of {self.merged_at:%-d %b %Y}"


class PeopleApart(models.Model):
    """Two records alike that somebody knows to be two people. Numbers, no keys: it outlives an erased
    record.
    """

    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="people_apart")
    first_id = models.BigIntegerField()
    second_id = models.BigIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name_plural = "people apart"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(first_id__lt=models.F("second_id")), name="people_apart_order"
            ),
            models.UniqueConstraint(
                fields=["first_id", "second_id"],
                condition=models.Q(taken_back_at__isnull=True),
                name="people_apart_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_id} and {self.second_id} are two patients"
