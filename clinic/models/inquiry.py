"""Why is it not healing? One sheet for one lesion: each cause looked at, and what was decided about it."""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord, one_of


class InquiryTopic(models.TextChoices):
    """The causes, in the order they are asked."""

    PERFUSION = "perfusion", "Perfusion"
    INFECTION = "infection", "Infection and bone"
    PRESSURE = "pressure", "Pressure on the lesion"
    WEAR = "wear", "Wear, and why not"
    DEBRIDEMENT = "debridement", "Debridement"
    TISSUE = "tissue", "Oedema, dressing, nutrition"
    SURGERY = "surgery", "Talk about surgery"


class InquiryOutcome(models.TextChoices):
    DONE = "done", "Done"
    DO = "do", "To do"
    NOT_NEEDED = "not_needed", "Not needed, because"


class Inquiry(ClinicalRecord):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="inquiries")
    made_on = models.DateField()
    verdict = models.CharField("verdict on the screen", max_length=200)

    class Meta:
        ordering = ["-made_on", "-pk"]
        verbose_name_plural = "inquiries"

    def __str__(self) -> str:
        return f"Why not healing, {self.made_on}"


class InquiryAnswer(ClinicalRecord):
    SITE_PATH = "inquiry__lesion__limb__person__site"

    inquiry = models.ForeignKey(Inquiry, on_delete=models.PROTECT, related_name="answers")
    topic = models.CharField(max_length=12, choices=InquiryTopic.choices)
    outcome = models.CharField(max_length=10, choices=InquiryOutcome.choices)
    words = models.CharField(max_length=200)
    #: The dated facts that stood beside the question, as they stood.
    facts = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("topic", InquiryTopic, name="inquiry_topic"),
            one_of("outcome", InquiryOutcome, name="inquiry_outcome"),
            models.UniqueConstraint(fields=["inquiry", "topic"], name="inquiry_topic_once"),
            models.CheckConstraint(
                condition=~models.Q(words=""),
                name="inquiry_words",
                violation_error_message="each cause ends in words: what was done, what to do, or why not",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_topic_display()}: {self.get_outcome_display()}"
