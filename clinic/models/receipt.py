"""That a form arrived and what it stored: the same form sent again is answered and not stored twice."""

from django.conf import settings
from django.db import models


class FormReceipt(models.Model):
    """Written by `clinic.record.writes.receipts` only, in the transaction of what the form stored.

    It holds numbers and no words of a record, and goes a few days later: the device keeps what was typed for
    a day.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="form_receipts")
    #: Made by the page that was typed on; a press, and the same form sent again, name the same one.
    key = models.UUIDField()
    #: Of what was sent and to which address: another content under the same key is not the same form.
    content_digest = models.CharField(max_length=64)
    target_kind = models.CharField(max_length=40)
    target_id = models.CharField(max_length=40)
    person_id = models.BigIntegerField(null=True)
    version = models.PositiveIntegerField(null=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="form_stored_once"),
        ]
        indexes = [models.Index(fields=["user", "at"], name="form_receipt_by_age")]

    def __str__(self) -> str:
        return f"{self.target_kind} {self.target_id}"
