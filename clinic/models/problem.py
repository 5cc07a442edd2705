"""A problem with a page, told by someone who uses it. It holds no text of a record and none typed."""

from django.conf import settings
from django.db import models

from .record import one_of


class ProblemKind(models.TextChoices):
    WRONG = "wrong", "A figure or word looks wrong"
    STUCK = "stuck", "I cannot do what I came for"
    LOST = "lost", "Something I typed was lost"
    LOOKS = "looks", "It looks broken"
    SLOW = "slow", "It is too slow"


class Problem(models.Model):
    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="problems")
    told_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    kind = models.CharField("what is wrong", max_length=5, choices=ProblemKind.choices)
    page = models.CharField(max_length=60)
    program_version = models.CharField(max_length=20)
    role = models.CharField(max_length=12)
    request_id = models.CharField(max_length=32, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at"]
        constraints = [one_of("kind", ProblemKind, name="problem_kind")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.page}"
