"""What a check of the record found: places and days, no value of anybody."""

from django.db import models


class Verification(models.Model):
    at = models.DateTimeField()
    #: The whole record, or what was written since the last line of the digest file.
    full = models.BooleanField()
    faults = models.PositiveIntegerField()
    words = models.JSONField(default=list)
    rows = models.PositiveBigIntegerField()
    seconds = models.FloatField()

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"Check of {self.at}"
