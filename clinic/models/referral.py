"""A referral and the times it was made, reached, accepted, seen and answered."""

from __future__ import annotations

from django.db import models

from .record import ClinicalQuerySet, ClinicalRecord, one_of


class ReferralTo(models.TextChoices):
    ACUTE = "acute", "Acute service"
    VASCULAR = "vascular", "Vascular team"
    INFECTION = "infection", "Infection team"
    SURGERY = "surgery", "Foot surgery"
    CHARCOT = "charcot", "Charcot assessment"
    OTHER = "other", "Other"


class Urgency(models.TextChoices):
    IMMEDIATE = "immediate", "At once"
    ONE_WORKING_DAY = "one_working_day", "Within one working day"
    PLANNED = "planned", "Planned"


class ReferralQuerySet(ClinicalQuerySet):
    def open(self) -> ReferralQuerySet:
        """Referrals that somebody still waits for: no result yet, and not cancelled. The one rule of it."""
        return self.filter(result="", cancelled_because="")

    def unreached(self) -> ReferralQuerySet:
        """Open ones that nobody was reached about; a later step stands for those before it."""
        return self.open().filter(reached_at=None, accepted_at=None, seen_on=None)


class Referral(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="referrals")
    lesion = models.ForeignKey(
        "clinic.Lesion", on_delete=models.PROTECT, related_name="referrals", null=True, blank=True
    )
    to = models.CharField(max_length=10, choices=ReferralTo.choices)
    urgency = models.CharField(max_length=16, choices=Urgency.choices)
    because = models.CharField(max_length=300)
    made_at = models.DateTimeField()
    #: The last attempt that nobody answered, and how many there were.
    tried_at = models.DateTimeField("tried, no answer", null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    reached_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    seen_on = models.DateField(null=True, blank=True)
    result = models.CharField(max_length=300, blank=True)
    #: No longer wanted, and why; it is then owed nothing.
    cancelled_because = models.CharField(max_length=200, blank=True)

    objects = ReferralQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            one_of("to", ReferralTo, name="referral_to"),
            one_of("urgency", Urgency, name="referral_urgency"),
        ]

    def __str__(self) -> str:
        return f"Referral to {self.get_to_display()}"
