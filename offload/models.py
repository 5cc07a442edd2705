"""A relief plan under a random code. It holds numbers only: no person, no site, no lesion record."""

from __future__ import annotations

from django.db import models


class PlanState(models.TextChoices):
    DRAFT = "draft", "Draft"
    SIGNED = "signed", "Signed"
    SUPERSEDED = "superseded", "Replaced"


class ReliefPlan(models.Model):
    code = models.CharField("sheet code", max_length=6, unique=True)
    number = models.PositiveSmallIntegerField("version of the plan", default=1)
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    state = models.CharField(max_length=10, choices=PlanState.choices, default=PlanState.DRAFT)
    side = models.CharField(max_length=5)
    spec = models.JSONField()
    result = models.JSONField()
    # Of the canonical text of spec, result and core version; frozen when signed.
    sha256 = models.CharField(max_length=64)
    core_version = models.CharField(max_length=20)
    departure_reason = models.CharField("why it departs from the policy", max_length=300, blank=True)
    created_at = models.DateTimeField()
    made_by = models.CharField(max_length=160)
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.CharField(max_length=160, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(side__in=["left", "right"]), name="relief_plan_side"),
            models.CheckConstraint(
                condition=models.Q(state__in=["draft", "signed", "superseded"]), name="relief_plan_state"
            ),
            models.CheckConstraint(
                condition=models.Q(state="draft") | models.Q(signed_at__isnull=False),
                name="relief_plan_signed_dated",
            ),
        ]

    def __str__(self) -> str:
        return f"Plan {self.code} v{self.number}"
