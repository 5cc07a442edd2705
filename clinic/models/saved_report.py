"""A report someone wants again: what it asks, and in which form, run by hand or by a scheduler."""

from django.db import models

from .record import ClinicalRecord, between, one_of


class ReportForm(models.TextChoices):
    PDF = "pdf", "PDF, figures and definitions"
    JSON = "json", "JSON, figures"
    CSV = "csv", "CSV, one row a case"


class SavedReport(ClinicalRecord):
    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="saved_reports")
    name = models.CharField(max_length=80)
    form = models.CharField("form", max_length=4, choices=ReportForm.choices)
    #: Whole days back from the day it is run.
    days = models.PositiveSmallIntegerField("days back", default=365)
    device_class = models.CharField(max_length=32, blank=True)
    deidentified = models.BooleanField("de-identified", default=True)
    stopped = models.BooleanField("no longer run", default=False)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            one_of("form", ReportForm, name="saved_report_form"),
            between("days", 1, 3660, name="saved_report_days"),
            models.UniqueConstraint(
                fields=["site", "name"],
                name="saved_report_name",
                violation_error_message="this clinic has a report of that name",
            ),
        ]

    def __str__(self) -> str:
        return self.name
