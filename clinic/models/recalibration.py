"""A clinic's own figures of its forecasts, made from its closed courses on a day; never changed."""

from django.db import models


class Recalibration(models.Model):
    """Written by `manage.py recalibrate` only; holds counts and coefficients, nothing of a person."""

    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="recalibrations")
    made_on = models.DateField()
    method = models.CharField("version of the method", max_length=8)
    figures = models.JSONField()

    class Meta:
        ordering = ["made_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["site", "made_on", "method"], name="recalibration_once_a_day")
        ]

    def __str__(self) -> str:
        return f"Own figures of {self.made_on:%-d %b %Y}"
