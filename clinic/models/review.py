"""A podiatrist's look at a lesion on the review list: seen, with a note. It hides nothing for good."""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord


class ReviewNote(ClinicalRecord):
    """One look; who looked is the row's author."""

    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="review_notes")
    seen_on = models.DateField()
    #: What the list said then: the lesion comes back when it says something else.
    concern = models.CharField("verdict at that time", max_length=12)
    note = models.CharField(max_length=300)

    class Meta:
        ordering = ["-seen_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(note=""),
                name="review_note_words",
                violation_error_message="a look at an ulcer needs a note",
            ),
        ]

    def __str__(self) -> str:
        return f"Seen {self.seen_on:%-d %b %Y}: {self.note}"
