"""An episode: one or more lesions from the first presentation to any professional until all have ended."""

from django.db import models

from .record import ClinicalRecord, counts_for


class Episode(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="episodes")
    first_presented_on = models.DateField("first presented anywhere on")
    referred_by = models.CharField(max_length=120, blank=True)
    first_assessed_on = models.DateField("first expert assessment on")
    counts_for = counts_for()
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-first_assessed_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(first_assessed_on__gte=models.F("first_presented_on")),
                name="episode_order",
                violation_error_message="the first expert assessment cannot lie "
                "before the first presentation",
            ),
            models.UniqueConstraint(
                fields=["person"],
                condition=models.Q(ended_on__isnull=True),
                name="episode_one_open",
                violation_error_message="this patient already has an open episode",
            ),
        ]

    def __str__(self) -> str:
        return f"Episode of {self.first_assessed_on:%-d %b %Y}"
