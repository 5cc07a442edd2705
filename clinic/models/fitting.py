"""The fitting of a device: which steps were done, by whom and when. Common practice, no source."""

from __future__ import annotations

from django.db import models

from .record import between
from .withdrawable import Withdrawable, withdrawn_whole


class StepAnswer(models.TextChoices):
    DONE = "done", "Done"
    NOT_APPLY = "not_apply", "Does not apply"


class Fitting(Withdrawable):
    """One fitting or sealing; the steps are copies of the site's list as it stood that day."""

    SITE_PATH = "prescription__limb__person__site"

    prescription = models.ForeignKey("clinic.Prescription", on_delete=models.PROTECT, related_name="fittings")
    fitted_on = models.DateField()
    sealed = models.BooleanField(default=False)
    open_by = models.DateField(null=True, blank=True)
    steps = models.JSONField(default=list, blank=True)
    bandage_below_knee_cm = models.DecimalField(
        "bandage ends below the knee (cm)", max_digits=3, decimal_places=1, null=True, blank=True
    )
    watch_points = models.CharField("skin to check at the next visit", max_length=300, blank=True)
    review_on = models.DateField("next review", null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-fitted_on", "-pk"]
        constraints = [
            between("bandage_below_knee_cm", 0, 15, name="fitting_bandage"),
            withdrawn_whole(name="fitting_withdrawn"),
            models.CheckConstraint(
                condition=models.Q(review_on__isnull=True) | models.Q(review_on__gt=models.F("fitted_on")),
                name="fitting_review_after",
                violation_error_message="the next review lies after the fitting",
            ),
            # A device that stays on never counts as fitted without its list, its watch points and its next
            # look.
            models.CheckConstraint(
                condition=models.Q(sealed=False)
                | (models.Q(open_by__isnull=False, review_on__isnull=False) & ~models.Q(watch_points="")),
                name="fitting_sealed_whole",
                violation_error_message="fitting a non-removable device needs the day to open, the next "
                "review and the "
                "skin to check",
            ),
        ]

    def __str__(self) -> str:
        return f"Fitting of {self.fitted_on:%-d %b %Y}"
