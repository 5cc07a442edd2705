"""The append-only audit chain of a site: copies as text, no foreign keys, each row bound to the one before."""

from django.db import models


class AuditEvent(models.Model):
    """Written by `clinic.services.audit.record` only, in the transaction of the change itself."""

    site_id = models.BigIntegerField()
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.CharField(max_length=160)
    actor_role = models.CharField(max_length=12)
    verb = models.CharField(max_length=40)
    target_kind = models.CharField(max_length=40)
    target_id = models.CharField(max_length=40)
    person_id = models.BigIntegerField(null=True)
    # Canonical JSON text: a database's own JSON type may reorder keys and so change the digest.
    detail = models.TextField()
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["site_id", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["site_id", "sequence"], name="audit_sequence_once"),
        ]
        indexes = [
            models.Index(fields=["target_kind", "target_id"], name="audit_by_target"),
            models.Index(fields=["person_id", "-sequence"], name="audit_by_person"),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.target_kind} {self.target_id}"
