"""What every clinical row has: who made it and when, a version for concurrent edits, and its full history."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, models
from django.utils import timezone
from simple_history.manager import HistoryManager
from simple_history.models import HistoricalRecords

from clinic.statements import insertion


class HistoryReader(HistoryManager):
    """The library makes its manager's class anew each time a row's history is touched, three times a save."""

    @classmethod
    @cache
    def from_queryset(cls, queryset_class: Any, class_name: str | None = None) -> Any:
        return super().from_queryset(queryset_class, class_name)


class Copies(HistoricalRecords):
    """Writes a row's copy by an INSERT that is put together once; the library makes and saves an instance for each.

    Its signals round such a copy are not sent: nobody listens, and what a copy says is decided here alone.
    """

    def create_historical_record(self, instance: Any, history_type: str, using: str | None = None) -> None:
        copies = getattr(type(instance), self.manager_name).model
        kept, user = insertion(copies), self.get_history_user(instance)
        values = {field.attname: getattr(instance, field.attname) for field in copies.tracked_fields}
        # Where the copy also holds which other rows were linked, the library writes those beside it.
        if copies._history_m2m_fields or not kept.takes(values):
            super().create_historical_record(instance, history_type, using)
            return
        values["history_date"] = getattr(instance, "_history_date", None) or timezone.now()
        values["history_type"] = history_type
        values["history_change_reason"] = self.get_change_reason_for_object(instance, history_type, using)
        values["history_user_id"] = user and user.pk
        kept.write(values)


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
    history = Copies(inherit=True, history_manager=HistoryReader)

    objects = ClinicalQuerySet.as_manager()

    class Meta:
        abstract = True

    def _do_insert(self, manager: Any, using: str, fields: Any, returning_fields: Any, raw: bool) -> Any:
        """The last step of `save` for a new row; one that brings its own number, or an expression, goes the long way."""
        kept = insertion(type(self))
        usual = fields == kept.fields and list(returning_fields) == [self._meta.pk]
        if usual and not raw and using == DEFAULT_DB_ALIAS:
            values = {field.attname: field.pre_save(self, True) for field in fields}
            if kept.takes(values):
                return [(kept.write(values),)]
        return super()._do_insert(manager, using, fields, returning_fields, raw)  # type: ignore[misc]

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
    """The clinic a row counts for in figures once its person was handed to another; empty: the person's clinic."""
    return models.ForeignKey(
        "clinic.Site", on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="+"
    )
