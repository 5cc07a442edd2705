"""Photos of a lesion, and the consent to take them."""

from django.db import models

from .record import ClinicalRecord, one_of
from .withdrawable import Withdrawable, withdrawn_whole


class PhotoConsent(ClinicalRecord):
    """Dated; once withdrawn, no new photo is taken."""

    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="photo_consents")
    given_on = models.DateField()
    withdrawn_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-given_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(withdrawn_on__isnull=True)
                | models.Q(withdrawn_on__gte=models.F("given_on")),
                name="consent_order",
                violation_error_message="consent cannot be withdrawn before it was given",
            )
        ]

    def __str__(self) -> str:
        return f"Photo consent of {self.given_on:%-d %b %Y}"


class PhotoSubject(models.TextChoices):
    WOUND = "wound", "The ulcer"
    INSOLE = "insole", "The insole with its imprint"


class Photo(Withdrawable):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="photos")
    visit = models.ForeignKey(
        "clinic.Visit", on_delete=models.PROTECT, related_name="photos", null=True, blank=True
    )
    taken_on = models.DateField()
    # The name is the hash of the cleaned picture, under a folder that says nothing about the person.
    file = models.FileField(upload_to="photos", max_length=120)
    sha256 = models.CharField(max_length=64)
    # Hash of the small copy, so that the one kept beside the picture can be checked.
    small_sha256 = models.CharField(max_length=64, blank=True, default="", editable=False)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    subject = models.CharField(
        "shows", max_length=6, choices=PhotoSubject.choices, default=PhotoSubject.WOUND
    )
    drawn = models.BooleanField("drawn placeholder, not a photograph", default=False)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-taken_on", "-pk"]
        constraints = [
            one_of("subject", PhotoSubject, name="photo_subject"),
            withdrawn_whole(name="photo_withdrawn"),
        ]

    def __str__(self) -> str:
        return f"Photo of {self.taken_on:%-d %b %Y}"
