"""A referral and the times it was made, reached, accepted, seen and answered."""

from django.db import models

from .record import ClinicalRecord, one_of


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
    reached_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    seen_on = models.DateField(null=True, blank=True)
    result = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            one_of("to", ReferralTo, name="referral_to"),
            one_of("urgency", Urgency, name="referral_urgency"),
        ]

    def __str__(self) -> str:
        return f"Referral to {self.get_to_display()}"
