"""What every clinical row has: who made it and when, a version for concurrent edits, and its full history."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from .kept_copy import Copies, KeptCopy


class ClinicalQuerySet(models.QuerySet[Any]):
    """Rows of one clinical noun; the only way in from a page is `visible_to`."""

    def visible_to(self, user: Any) -> ClinicalQuerySet:
        """Rows of the sites this user works at."""
        if not user.is_authenticated:
            return self.none()
        return self.filter(**{f"{self.model.SITE_PATH}__in": user.site_ids})


class ClinicalRecord(models.Model):
    """Base of the clinical nouns. Rows are corrected, never deleted."""

    #: Query path from this model to its site, for `visible_to` and the audit chain.
    SITE_PATH = "site"

    version = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    history = HistoricalRecords(inherit=True, bases=[KeptCopy], history_manager=Copies)

    objects = ClinicalQuerySet.as_manager()

    class Meta:
        abstract = True

    @property
    def record_site(self) -> Any:
        """The clinic site this row belongs to."""
        value: Any = self
        for step in self.SITE_PATH.split("__"):
            value = getattr(value, step)
        return value


def between(field: str, low: float, high: float, *, name: str) -> models.CheckConstraint:
    """A database bound, both ends allowed; an empty value passes."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__gte": low, f"{field}__lte": high})
        | models.Q(**{f"{field}__isnull": True}),
        name=name,
        violation_error_message=f"{field.replace('_', ' ')} must be between {low:g} and {high:g}",
    )


def one_of(
    field: str, choices: type[models.TextChoices] | list[tuple[str, str]], *, name: str, blank: bool = False
) -> models.CheckConstraint:
    """The database holds the closed list too, not only the form."""
    pairs = choices if isinstance(choices, list) else choices.choices
    values = [value for value, _ in pairs] + ([""] if blank else [])
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__in": values}),
        name=name,
        violation_error_message=f"{field.replace('_', ' ')} must be one of the listed values",
    )


def counts_for() -> models.ForeignKey:
    """The clinic a row counts for in figures once its person was handed to another; empty: the person's
    clinic.
    """
    return models.ForeignKey(
        "clinic.Site", on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="+"
    )
