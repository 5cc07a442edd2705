"""A row that can be withdrawn: it stays, with the day and the reason, and counts in nothing that is read."""

from __future__ import annotations

from django.db import models

from .record import ClinicalQuerySet, ClinicalRecord


class WithdrawableQuerySet(ClinicalQuerySet):
    def standing(self) -> WithdrawableQuerySet:
        """Rows that nobody has withdrawn: the only ones a page, list or figure is read from."""
        return self.filter(withdrawn_on=None)


class Withdrawable(ClinicalRecord):
    withdrawn_on = models.DateField(null=True, blank=True, editable=False)
    withdrawn_because = models.CharField(max_length=300, blank=True, editable=False)

    objects = WithdrawableQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        abstract = True


def withdrawn_whole(*, name: str) -> models.CheckConstraint:
    """A withdrawal has its day and its reason."""
    return models.CheckConstraint(
        condition=models.Q(withdrawn_on__isnull=True, withdrawn_because="")
        | (models.Q(withdrawn_on__isnull=False) & ~models.Q(withdrawn_because="")),
        name=name,
        violation_error_message="a withdrawn entry has its day and its reason",
    )
