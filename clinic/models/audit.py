"""The append-only audit chain of a site: copies as text, no foreign keys, each row bound to the one before.

What a row says about a person is sealed with that person's key. The digest is made over the sealed text, so
that destroying the key erases what was said and leaves the chain whole.
"""

from __future__ import annotations

from cryptography.fernet import Fernet, InvalidToken
from django.db import models

from .erasure import PersonKey

#: What a row says once the person's key is gone.
ERASED = '{"erased":true}'


class AuditEvent(models.Model):
    """Written by `clinic.record.writes.audit.record` only, in the transaction of the change itself."""

    site_id = models.BigIntegerField()
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.CharField(max_length=160)
    actor_role = models.CharField(max_length=12)
    verb = models.CharField(max_length=40)
    target_kind = models.CharField(max_length=40)
    target_id = models.CharField(max_length=40)
    person_id = models.BigIntegerField(null=True)
    # Canonical JSON text (a database's own JSON type may reorder keys and so change the digest), sealed for a
    # person.
    payload = models.TextField()
    # Canonical JSON text: the hash of every copy and row that the change wrote
    # (`clinic.record.writes.seals`).
    sealed = models.TextField(default="[]")
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
            models.Index(fields=["site_id", "at"], name="audit_by_day"),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.target_kind} {self.target_id}"

    @property
    def detail(self) -> str:
        """The payload as canonical JSON; a fixed text once the person was erased."""
        if self.person_id is None:
            return self.payload
        if not hasattr(self, "person_key"):
            held = PersonKey.objects.filter(pk=self.person_id).values_list("key", flat=True).first()
            self.person_key: str | None = held
        if self.person_key is None:
            return ERASED
        try:
            return Fernet(self.person_key).decrypt(self.payload.encode()).decode()
        except InvalidToken:
            # The chain's check names the row; a reader sees that it says nothing any more.
            return '{"unreadable":true}'
