"""A test that was asked for: who waits for it until when, what came back, and who has seen it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from clinic.guidelines.results import RESULT_KINDS

from .record import ClinicalRecord, one_of

#: The closed list of `clinic.guidelines.results`, as choices.
RESULT_CHOICES = [(kind.id, kind.label) for kind in RESULT_KINDS.values()]


class ResultReading(models.TextChoices):
    NORMAL = "normal", "Normal"
    ABNORMAL = "abnormal", "Abnormal"
    UNCLEAR = "unclear", "Unclear"


class Result(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="results")
    limb = models.ForeignKey(
        "clinic.Limb", on_delete=models.PROTECT, related_name="results", null=True, blank=True
    )
    lesion = models.ForeignKey(
        "clinic.Lesion", on_delete=models.PROTECT, related_name="results", null=True, blank=True
    )
    kind = models.CharField("test", max_length=8, choices=RESULT_CHOICES)
    what = models.CharField("what exactly", max_length=120, blank=True)
    requested_on = models.DateField()
    due_on = models.DateField("result due on")
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    result_on = models.DateField(null=True, blank=True)
    value = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    words = models.CharField("report in words", max_length=400, blank=True)
    reading = models.CharField("read as", max_length=8, choices=ResultReading.choices, blank=True)
    seen_on = models.DateField(null=True, blank=True)
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    follows = models.CharField("what follows from it", max_length=300, blank=True)
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-requested_on", "-pk"]
        constraints = [
            one_of("kind", RESULT_CHOICES, name="result_kind"),
            one_of("reading", ResultReading, name="result_reading", blank=True),
            models.CheckConstraint(
                condition=models.Q(due_on__gte=models.F("requested_on")),
                name="result_due_order",
                violation_error_message="a result is due on or after the day it was requested",
            ),
            models.CheckConstraint(
                condition=models.Q(result_on__isnull=True, reading="", value__isnull=True, words="")
                | models.Q(result_on__gte=models.F("requested_on"), reading__gt=""),
                name="result_arrived",
                violation_error_message="a result has its day, not before it was requested, and its reading",
            ),
            models.CheckConstraint(
                condition=models.Q(seen_on__isnull=True, seen_by__isnull=True, follows="")
                | models.Q(
                    seen_on__gte=models.F("result_on"), seen_by__isnull=False, result_on__isnull=False
                ),
                name="result_seen",
                violation_error_message="only a result that arrived is seen, on its day or later",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_on__isnull=True, withdrawn_because="")
                | (models.Q(withdrawn_on__isnull=False) & ~models.Q(withdrawn_because="")),
                name="result_withdrawn",
                violation_error_message="a withdrawn request has its day and its reason",
            ),
        ]
        indexes = [models.Index(fields=["person", "seen_on"], name="result_by_seen")]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """The test, with what exactly where that was written."""
        kind = str(self.get_kind_display())
        return f"{kind}: {self.what}" if self.what else kind

    @property
    def unit(self) -> str:
        return RESULT_KINDS[self.kind].unit

    @property
    def value_words(self) -> str:
        """Value with its unit, then the report's words; nothing while it has not arrived."""
        value = "" if self.value is None else f"{self.value.normalize():f} {self.unit}".strip()
        return "; ".join(part for part in (value, self.words) if part)
