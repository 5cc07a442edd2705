"""Who has taken a standing danger of a foot, and when that team sees the person next."""

from django.db import models

from .withdrawable import Withdrawable, withdrawn_whole


class DangerOwner(Withdrawable):
    """A danger with its owner does not alarm again until it is new, worse or past the date (design choice).

    The newest row of a danger counts; an earlier one is history.
    """

    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="danger_owners")
    #: Id of `clinic.guidelines.known_dangers.Danger`, and how bad it was when it was taken.
    danger = models.CharField(max_length=20)
    level = models.PositiveSmallIntegerField()
    team = models.CharField(max_length=80)
    next_on = models.DateField("seen there next")
    taken_on = models.DateField()
    note = models.CharField(max_length=300, blank=True)
    #: The red flag whose answer named the team; empty: it was named on the page of the danger.
    flag = models.ForeignKey(
        "clinic.RedFlag", on_delete=models.PROTECT, related_name="owners", null=True, blank=True
    )

    class Meta:
        ordering = ["-taken_on", "-pk"]
        constraints = [
            withdrawn_whole(name="danger_owner_withdrawn"),
            models.CheckConstraint(
                condition=models.Q(next_on__gte=models.F("taken_on")),
                name="danger_owner_next",
                violation_error_message="the team's next date cannot lie before the day it took the danger",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.danger} with {self.team}, next {self.next_on:%-d %b %Y}"
