"""What changed on one record: each copy against the one before it, in words; and who opened it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import AuditEvent, ClinicalRecord, Measurement, Person, PersonKey, ViewEvent
from clinic.record.reads.changes import Changed, tell

__all__ = ["Amendment", "NOUNS", "changes_of", "deeds_of", "readers_of"]

SHOWN = 200
#: Columns that every copy has and that tell a reader nothing.
SILENT = {
    "id",
    "version",
    "site",
    "person",
    "created_at",
    "created_by",
    "submission_key",
    "sha256",
    "history_id",
    "history_date",
    "history_change_reason",
    "history_type",
    "history_user",
    "history_relation",
}
LONGEST = 200
#: Noun -> what else stands on its page and is corrected there.
PARTS: dict[str, tuple[str, ...]] = {
    "person": ("weights", "circumstances", "photo_consents"),
    "limb": ("findings",),
    "lesion": ("measurements", "imprints", "events", "photos", "antibiotics", "bone_judgements"),
    "visit": ("measurements", "photos"),
    "prescription": ("fittings", "opening_cards"),
    "limbplan": ("watch_points", "flags"),
    "nonhealingreview": ("items",),
}
#: What a part's name is read from, fetched with it; of other parts nothing (None: no argument would be all).
NAMED_BY: dict[str, tuple[str, ...]] = {"measurements": ("lesion", "visit")}
NOTHING = (None,)


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
    """One saved state: of what, who, when, why, and each field from and to."""

    what: str
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
    if isinstance(value, dict):
        # Copies of facts, advice and pictures: their words stand on the record's own page.
        return f"{len(value)} entries"
    choices = dict(getattr(field, "flatchoices", None) or ())
    if isinstance(value, str | int) and value in choices:
        return str(choices[value])
    text = ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"


def _fields(model: type[models.Model]) -> Iterator[models.Field[Any, Any]]:
    for field in model._meta.concrete_fields:
        if field.name not in SILENT:
            yield field


def changes_of(row: Any) -> list[Amendment]:
    """The record and what stands on its page, newest first; one query a noun."""
    changed = _told([row], {row.pk: ""})
    for name in PARTS.get(row._meta.model_name, ()):
        parts = list(getattr(row, name).select_related(*NAMED_BY.get(name, NOTHING)))
        if parts:
            noun = str(parts[0]._meta.verbose_name)
            named = {part.pk: _named(part, noun) for part in parts}
            # That a part was entered stands on the page itself; here is what became of it.
            changed += [one for one in _told(parts, named) if not one.first]
    return sorted(changed, key=lambda one: one.at, reverse=True)[:SHOWN]


def _named(part: Any, noun: str) -> str:
    if isinstance(part, Measurement):
        return f"{noun}, ulcer {part.lesion.label} on {date_format(part.visit.visited_on)}"
    words = str(part)
    return words if words.lower().startswith(noun.lower()) else f"{noun}, {words}"


def deeds_of(row: ClinicalRecord, person: Person) -> list[Changed]:
    """What the chain tells of one record, newest first; two queries."""
    kind = row._meta.model_name or ""
    found = list(
        AuditEvent.objects.filter(
            site_id=person.site_id, target_kind=kind, target_id=str(row.pk), person_id=person.pk
        ).order_by("-sequence")[:SHOWN]
    )
    key = PersonKey.objects.filter(pk=person.pk).values_list("key", flat=True).first()
    for event in found:
        event.person_key = key
    return [tell(event, person) for event in found]


def _told(rows: Sequence[Any], names: dict[int, str]) -> list[Amendment]:
    """The copies of some rows of one noun, each against the one before it."""
    model = type(rows[0])
    copies: dict[int, list[Any]] = {row.pk: [] for row in rows}
    found = model.history.filter(id__in=copies).select_related("history_user")
    for copy in found.order_by("-history_id")[: SHOWN + 1]:
        copies[copy.id].append(copy)
    return [
        one
        for pk, own in copies.items()
        for new, old in zip(own, [*own[1:], None], strict=True)
        for one in [_amendment(model, names[pk], new, old)]
    ]


def _amendment(model: type[models.Model], what: str, new: Any, old: Any) -> Amendment:
    changes = []
    for field in _fields(model):
        now = field.value_from_object(new) if hasattr(new, field.attname) else None
        was = getattr(old, field.attname, None) if old is not None else None
        if old is None and now in (None, "", [], {}, False):
            continue
        if now != was:
            label = str(getattr(field, "verbose_name", field.name)).replace("_", " ")
            changes.append((label, "" if old is None else _words(field, was), _words(field, now)))
    return Amendment(
        what=what,
        at=new.history_date,
        who=str(new.history_user or "the program"),
        first=old is None,
        why=new.history_change_reason or "",
        changes=tuple(changes),
    )


def readers_of(person_id: int) -> list[ViewEvent]:
    """Who opened the person's record lately, newest first."""
    shown = models.Q(person_id=person_id) | models.Q(listed__contains=f",{person_id},")
    rows = ViewEvent.objects.filter(shown).order_by("-pk")
    return list(rows[:50])
