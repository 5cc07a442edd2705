"""Who opened whose record: append-only, and chained in batches so that a page view stays one insert."""

from django.db import models


class ViewEvent(models.Model):
    """Written by `clinic.record.writes.read_log` only. Copies as text, no foreign keys."""

    site_id = models.BigIntegerField()
    at = models.DateTimeField()
    actor_id = models.BigIntegerField()
    actor = models.CharField(max_length=160)
    actor_role = models.CharField(max_length=12)
    page = models.CharField(max_length=60)
    # Empty for a list, whose people stand in `listed`.
    person_id = models.BigIntegerField(null=True)
    #: Numbers of the people on a list or in an export, each between commas: `,3,17,`.
    listed = models.TextField(default="", editable=False)
    # The number of the break-glass row it was read under, if it was.
    glass_id = models.BigIntegerField(null=True)

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(fields=["person_id", "-at"], name="view_by_person"),
            models.Index(fields=["site_id", "id"], name="view_by_site"),
        ]

    def __str__(self) -> str:
        return f"{self.actor} opened {self.page} of patient {self.person_id or self.listed.strip(',')}"


class ViewBatch(models.Model):
    """Binds the views between two numbers to the batch before it."""

    site_id = models.BigIntegerField()
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    first_id = models.BigIntegerField()
    last_id = models.BigIntegerField()
    rows = models.PositiveIntegerField()
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["site_id", "sequence"]
        constraints = [models.UniqueConstraint(fields=["site_id", "sequence"], name="view_batch_once")]

    def __str__(self) -> str:
        return f"Batch {self.sequence} of site {self.site_id}"
