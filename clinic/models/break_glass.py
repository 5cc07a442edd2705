"""Reading a person's record at another site in an emergency: with a reason, for an hour, and with notice."""

from django.conf import settings
from django.db import models


class BreakGlass(models.Model):
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="glasses")
    # A number, not a key: the notice outlives an erased record.
    person_id = models.BigIntegerField()
    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="glasses")
    reason = models.CharField(max_length=300)
    opened_at = models.DateTimeField()
    until = models.DateTimeField()
    noticed_at = models.DateTimeField(null=True, blank=True)
    noticed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(until__gt=models.F("opened_at")), name="break_glass_order"
            ),
            models.CheckConstraint(condition=~models.Q(reason=""), name="break_glass_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.user} read patient {self.person_id}"
