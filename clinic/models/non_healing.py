"""The review of an ulcer that does not heal: each possible cause, and what good care has come to."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord, one_of


class NonHealingTopic(models.TextChoices):
    """The causes, in the order they are gone through."""

    PERFUSION = "perfusion", "Perfusion"
    INFECTION = "infection", "Infection and bone"
    OFFLOADING = "offloading", "Offloading: worn and intact"
    DEBRIDEMENT = "debridement", "Debridement"
    GLYCAEMIA = "glycaemia", "Glycaemia"
    SMOKING = "smoking", "Smoking"
    NUTRITION = "nutrition", "Nutrition, oedema and dressing"
    KIDNEY = "kidney", "Kidney"
    ACTIVITY = "activity", "Activity"
    OTHER_FOOT = "other_foot", "Other foot"
    SURGERY = "surgery", "Surgery"


class ItemState(models.TextChoices):
    DONE = "done", "Done"
    DUE = "due", "Due"
    NOT_NEEDED = "not_needed", "Not needed, because"


class CareOutcome(models.TextChoices):
    CHANGED = "changed", "Care is changed; judge again"
    FAILED = "failed", "Good care without surgery has failed"
    OTHER = "other", "Another goal of care agreed with the patient"


class NonHealingReview(ClinicalRecord):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="non_healing_reviews")
    opened_on = models.DateField()
    verdict = models.CharField("verdict it was opened by", max_length=200)
    outcome = models.CharField(max_length=8, choices=CareOutcome.choices, blank=True)
    outcome_on = models.DateField(null=True, blank=True)
    outcome_words = models.CharField("in words", max_length=300, blank=True)

    class Meta:
        ordering = ["-opened_on", "-pk"]
        constraints = [
            one_of("outcome", CareOutcome, name="non_healing_outcome", blank=True),
            models.CheckConstraint(
                condition=models.Q(outcome="", outcome_on__isnull=True, outcome_words="")
                | (
                    ~models.Q(outcome="")
                    & ~models.Q(outcome_words="")
                    & models.Q(outcome_on__gte=models.F("opened_on"))
                ),
                name="non_healing_outcome_dated",
                violation_error_message="an outcome has its day, not before the review, and its words",
            ),
        ]

    def __str__(self) -> str:
        return f"Non-healing review, {self.opened_on:%-d %b %Y}"


class NonHealingItem(ClinicalRecord):
    SITE_PATH = "review__lesion__limb__person__site"

    review = models.ForeignKey(NonHealingReview, on_delete=models.PROTECT, related_name="items")
    topic = models.CharField(max_length=12, choices=NonHealingTopic.choices)
    state = models.CharField(max_length=10, choices=ItemState.choices)
    words = models.CharField(max_length=200)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    due_on = models.DateField(null=True, blank=True)
    #: The dated facts that stood beside the item, as they stood.
    facts = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("topic", NonHealingTopic, name="non_healing_topic"),
            one_of("state", ItemState, name="non_healing_item_state"),
            models.UniqueConstraint(fields=["review", "topic"], name="non_healing_topic_once"),
            models.CheckConstraint(
                condition=~models.Q(words=""),
                name="non_healing_words",
                violation_error_message="each item has its words: what was done, what to do, or why not",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="due") | models.Q(owner__isnull=False, due_on__isnull=False),
                name="non_healing_due_owned",
                violation_error_message="an item that is due has an owner and a day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_topic_display()}: {self.get_state_display().lower()}"
