"""What changed on one record: each copy against the one before it, in words; and who opened it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import ClinicalRecord, ViewEvent

__all__ = ["Amendment", "NOUNS", "changes_of", "readers_of"]

SHOWN = 200
#: Columns that every copy has and that tell a reader nothing.
SILENT = {
    "id", "version", "site", "person", "created_at", "created_by", "submission_key", "sha256", "history_id", "history_date",
    "history_change_reason", "history_type", "history_user", "history_relation",
}  # fmt: skip
LONGEST = 200


def _nouns() -> dict[str, type[ClinicalRecord]]:
    return {
        model._meta.model_name or "": model
        for model in apps.get_app_config("clinic").get_models()
        if issubclass(model, ClinicalRecord)
    }


#: Noun of the address -> model. Only clinical nouns, so nothing else can be asked for.
NOUNS = _nouns


@dataclass(frozen=True)
class Amendment:
    """One saved state: who, when, why, and each field from and to."""

    at: datetime
    who: str
    first: bool
    why: str
    changes: tuple[tuple[str, str, str], ...]


def _words(field: models.Field[Any, Any], value: Any) -> str:
    if value is None or value == "" or value == []:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return date_format(timezone.localtime(value), "DATETIME_FORMAT")
    if isinstance(value, date):
        return date_format(value)
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(field, models.ForeignKey):
        # The row it points at may be gone or be another's; its number is what was kept.
        return f"No. {value}"
    choices = dict(getattr(field, "flatchoices", None) or ())
    if value in choices:
        return str(choices[value])
    text = ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"


def _fields(model: type[models.Model]) -> Iterator[models.Field[Any, Any]]:
    for field in model._meta.concrete_fields:
        if field.name not in SILENT:
            yield field


def changes_of(row: Any) -> list[Amendment]:
    """Newest first; one query."""
    copies = list(row.history.select_related("history_user").order_by("-history_id")[: SHOWN + 1])
    told = []
    for new, old in zip(copies, [*copies[1:], None], strict=True):
        changes = []
        for field in _fields(type(row)):
            now = field.value_from_object(new) if hasattr(new, field.attname) else None
            was = getattr(old, field.attname, None) if old is not None else None
            if old is None and now in (None, "", [], {}, False):
                continue
            if now != was:
                label = str(getattr(field, "verbose_name", field.name)).replace("_", " ")
                changes.append((label, "" if old is None else _words(field, was), _words(field, now)))
        told.append(
            Amendment(
                at=new.history_date,
                who=str(new.history_user or "the program"),
                first=old is None,
                why=new.history_change_reason or "",
                changes=tuple(changes),
            )
        )
    return told[:SHOWN]


def readers_of(person_id: int) -> list[ViewEvent]:
    """Who opened the person's record lately, newest first."""
    return list(ViewEvent.objects.filter(person_id=person_id).order_by("-pk")[:50])
