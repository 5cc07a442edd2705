"""A course of an antibiotic for one ulcer: who decided on it and why, until when, and how it ended."""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord, one_of


class AntibioticRoute(models.TextChoices):
    ORAL = "oral", "By mouth"
    INTRAVENOUS = "iv", "Intravenous"
    INTRAMUSCULAR = "im", "Intramuscular"
    TOPICAL = "topical", "On the ulcer"


class CourseStop(models.TextChoices):
    COMPLETED = "completed", "Completed as planned"
    CHANGED = "changed", "Changed to another antibiotic"
    NOT_TOLERATED = "not_tolerated", "Not tolerated"
    NOT_NEEDED = "not_needed", "No infection: not needed"
    NO_EFFECT = "no_effect", "No effect"
    LEFT = "left", "Patient no longer in care here"
    NOT_TAKEN = "not_taken", "Not taken by the patient"
    IN_ERROR = "in_error", "Entered in error"


class AntibioticCourse(ClinicalRecord):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="antibiotics")
    drug = models.CharField(max_length=80)
    dose = models.CharField("dose and how often", max_length=80)
    route = models.CharField(max_length=8, choices=AntibioticRoute.choices)
    started_on = models.DateField()
    planned_end_on = models.DateField("planned end")
    decided_by = models.CharField("who decided", max_length=120)
    why = models.CharField(max_length=300)
    stopped_on = models.DateField(null=True, blank=True)
    stop_reason = models.CharField(max_length=14, choices=CourseStop.choices, blank=True)
    stop_note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-started_on", "-pk"]
        constraints = [
            one_of("route", AntibioticRoute, name="antibiotic_route"),
            one_of("stop_reason", CourseStop, name="antibiotic_stop_reason", blank=True),
            models.CheckConstraint(
                condition=models.Q(planned_end_on__gte=models.F("started_on")),
                name="antibiotic_end_order",
                violation_error_message="the planned end is on or after the day it was started",
            ),
            models.CheckConstraint(
                condition=models.Q(stopped_on__isnull=True, stop_reason="", stop_note="")
                | (models.Q(stopped_on__gte=models.F("started_on")) & ~models.Q(stop_reason="")),
                name="antibiotic_stopped",
                violation_error_message="a stopped course has its day, not before its start, and its reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.drug}, {self.dose}, {self.get_route_display().lower()}"
