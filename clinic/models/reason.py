"""A reason that can be given at a site, in its own words. It counts as one of the program's, so that
clinics compare.
"""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from .prescription import DepartureReason, StopReason
from .record import ClinicalRecord, one_of


class ReasonKind(models.TextChoices):
    DEPARTURE = "departure", "For departing from the advice"
    STOP = "stop", "For stopping a device"


#: The program's own reasons of each kind.
PROGRAM: dict[str, type[models.TextChoices]] = {
    ReasonKind.DEPARTURE: DepartureReason,
    ReasonKind.STOP: StopReason,
}


class SiteReason(ClinicalRecord):
    """A row with `replaces` rewords or retires the program's reason it counts as; others stand beside them.

    Rows are never deleted: a device that names one holds it (PROTECT) and keeps a copy of its words.
    """

    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="reasons")
    kind = models.CharField(max_length=10, choices=ReasonKind.choices)
    words = models.CharField(max_length=80)
    counts_as = models.CharField(max_length=24)
    replaces = models.BooleanField("stands in the place of the program's own", default=False)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["kind", "pk"]
        verbose_name = "reason"
        constraints = [
            one_of("kind", ReasonKind, name="site_reason_kind"),
            models.CheckConstraint(
                condition=models.Q(
                    kind=ReasonKind.DEPARTURE.value, counts_as__in=[r.value for r in DepartureReason]
                )
                | models.Q(kind=ReasonKind.STOP.value, counts_as__in=[r.value for r in StopReason]),
                name="site_reason_counts_as",
                violation_error_message="a reason counts as one of the program's of its kind",
            ),
            models.CheckConstraint(
                condition=~models.Q(words=""),
                name="site_reason_words",
                violation_error_message="a reason needs its words",
            ),
            models.UniqueConstraint(
                fields=["site", "kind", "counts_as"],
                condition=models.Q(replaces=True),
                name="site_reason_one_replacement",
            ),
            models.UniqueConstraint(
                "site",
                "kind",
                Lower("words"),
                name="site_reason_once",
                violation_error_message="this reason stands here already",
            ),
        ]

    def __str__(self) -> str:
        return self.words
