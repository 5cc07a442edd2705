"""Where a person expected today is: arrived, in a room, left. Each mark has its time and implies nothing."""

from __future__ import annotations

from django.db import models

from .record import one_of
from .withdrawable import Withdrawable, withdrawn_whole


class MarkKind(models.TextChoices):
    ARRIVED = "arrived", "Arrived"
    IN_ROOM = "in_room", "In room"
    LEFT = "left", "Left"


class DayMark(Withdrawable):
    """One mark of one day; who set it is the row's author. Taken back, it is withdrawn."""

    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="day_marks")
    day = models.DateField()
    kind = models.CharField(max_length=8, choices=MarkKind.choices)
    marked_at = models.DateTimeField()

    class Meta:
        ordering = ["marked_at", "pk"]
        indexes = [models.Index(fields=["day", "person"], name="day_mark_day")]
        constraints = [
            one_of("kind", MarkKind, name="day_mark_kind"),
            withdrawn_whole(name="day_mark_withdrawn_whole"),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()
