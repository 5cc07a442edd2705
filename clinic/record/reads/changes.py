"""The audit chain read back as sentences: who changed what, newest first."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.utils.formats import date_format

from clinic.models import AuditEvent, Person, PersonKey, Site

__all__ = ["A_PAGE", "Changed", "Changes", "actors", "chain_length", "changes", "kind_words", "tell", "verbs"]

A_PAGE = 50
_NOUNS = {
    "person": "the patient",
    "lesion": "an ulcer",
    "limb": "a limb",
    "visit": "a visit",
    "prescription": "a device",
    "limbplan": "a relief plan",
    "reliefplan": "a relief plan",
    "photo": "a photo",
    "redflag": "a red flag",
    "incomingcall": "a call",
    "dangerowner": "a known danger",
    "daymark": "a mark on Today",
    "referral": "a referral",
    "event": "an event",
    "imprint": "an imprint",
    "insoleoutline": "an insole outline",
    "site": "the house rules",
}
#: Where verb and noun do not make a sentence by standing side by side.
_PHRASES = {
    ("weighed", "weight"): "weighed the patient",
    ("asked", "circumstances"): "updated social and mobility",
    ("examined", "limbfinding"): "examined a limb",
    ("tried to reach", "contact"): "tried to reach the patient",
    ("set state of", "person"): "set the state of the patient",
    ("confirmed healed", "lesion"): "confirmed an ulcer healed",
    ("gave a danger to", "dangerowner"): "gave a known danger to a team",
    ("gave with an answer", "dangerowner"): "gave a known danger to a team, in the answer to a red flag",
    ("took back", "dangerowner"): "took back that a team has a known danger",
    ("took back a step of", "antibioticcourse"): "took back the last entry about an antibiotic",
    ("signed second by telephone", "prescription"): "recorded a second signature by telephone",
    ("confirmed", "prescription"): "recorded that a second signature is confirmed",
    ("marked", "daymark"): "marked the patient on Today",
    ("took back", "daymark"): "took back a mark on Today",
    ("missed", "visit"): "recorded a visit that was not made",
    ("moved here", "visit"): "moved a visit here from another record",
    ("moved away", "visit"): "moved a visit to the patient it belongs to",
    ("took back a step of", "limbplan"): "took back a step of a relief plan",
    ("gave consent", "photoconsent"): "recorded consent to photos",
    ("withdrew consent", "photoconsent"): "recorded that consent to photos is withdrawn",
    ("exported", "site"): "exported a list of cases",
    ("exported", "person"): "exported the whole record of the patient",
    ("restricted", "person"): "restricted the record of the patient",
    ("lifted the restriction of", "person"): "lifted the restriction of the record",
    ("erased", "person"): "erased the record of a patient by law",
    ("broke the glass", "person"): "read the record of a patient from another clinic, in an emergency",
}
# Pointers and hashes bind the row; they tell a reader nothing.
_SILENT = re.compile(r"(^|_)(history_id|digest|sha256|advice|key|pk|id|stands|erased_rows)$")
_DAY = re.compile(r"^\d{4}-\d{2}-\d{2}$")


@dataclass(frozen=True)
class Changed:
    """One row of the chain."""

    event: AuditEvent
    person: Person | None
    did: str
    details: tuple[str, ...]


@dataclass(frozen=True)
class Changes:
    rows: tuple[Changed, ...]
    next_before: int | None


def actors(site: Site) -> list[str]:
    return list(
        AuditEvent.objects.filter(site_id=site.pk)
        .order_by("actor")
        .values_list("actor", flat=True)
        .distinct()
    )


def verbs(site: Site) -> list[str]:
    return list(
        AuditEvent.objects.filter(site_id=site.pk).order_by("verb").values_list("verb", flat=True).distinct()
    )


def chain_length(site: Site) -> int:
    """Number of the site's last row."""
    last = AuditEvent.objects.filter(site_id=site.pk).order_by("-sequence").values_list("sequence", flat=True)
    return last.first() or 0


def changes(
    site: Site, *, person: str = "", actor: str = "", verb: str = "", before: int | None = None
) -> Changes:
    """A page of the chain, by the number of the row it starts under; two or three queries."""
    rows = AuditEvent.objects.filter(site_id=site.pk)
    if person:
        numbers = Person.objects.filter(site=site, record_number__iexact=person).values("pk")
        rows = rows.filter(person_id__in=numbers)
    if actor:
        rows = rows.filter(actor=actor)
    if verb:
        rows = rows.filter(verb=verb)
    if before is not None:
        rows = rows.filter(sequence__lt=before)
    page = list(rows.order_by("-sequence")[: A_PAGE + 1])
    shown = page[:A_PAGE]
    people = Person.objects.filter(site=site).in_bulk([e.person_id for e in shown if e.person_id])
    keys = dict(PersonKey.objects.filter(pk__in=[e.person_id for e in shown]).values_list("pk", "key"))
    for event in shown:
        event.person_key = keys.get(event.person_id) if event.person_id else None
    return Changes(
        rows=tuple(tell(e, people.get(e.person_id) if e.person_id else None) for e in shown),
        next_before=shown[-1].sequence if len(page) > A_PAGE else None,
    )


def tell(event: AuditEvent, person: Person | None = None) -> Changed:
    """One row as a sentence."""
    return Changed(event, person, _did(event), tuple(_details(event)))


def _did(event: AuditEvent) -> str:
    phrase = _PHRASES.get((event.verb, event.target_kind))
    return phrase or f"{event.verb} {kind_words(event.target_kind)}"


def _model(kind: str) -> Any:
    """The model a row speaks of, None when the program no longer has it."""
    for app in ("clinic", "offload"):
        if kind in apps.all_models[app]:
            return apps.get_model(app, kind)
    return None


def kind_words(kind: str) -> str:
    """A kind of record as a sentence names it: `a visit`."""
    if kind in _NOUNS:
        return _NOUNS[kind]
    model = _model(kind)
    words = str(model._meta.verbose_name) if model else kind
    return f"{'an' if words[:1] in 'aeiou' else 'a'} {words}"


def _details(event: AuditEvent) -> Iterable[str]:
    values: dict[str, Any] = json.loads(event.detail or "{}")
    if isinstance(values.get("changes"), dict):
        for name, (old, new) in values.pop("changes").items():
            yield f"{_label(event, name)}: {_words(event, name, old)} → {_words(event, name, new)}"
    for name, value in values.items():
        if value is None or value in ("", []) or _SILENT.search(name):
            continue
        yield f"{_label(event, name)}: {_words(event, name, value)}"


def _field(event: AuditEvent, name: str) -> Any:
    model = _model(event.target_kind)
    try:
        return model._meta.get_field(name) if model else None
    except FieldDoesNotExist:
        return None


def _label(event: AuditEvent, name: str) -> str:
    field = _field(event, name)
    return str(getattr(field, "verbose_name", "") or name.replace("_", " ")).replace("_", " ")


def _words(event: AuditEvent, name: str, value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_words(event, name, item) for item in value)
    if isinstance(value, dict):
        return " ".join(f"{_words(event, key, item)}" for key, item in value.items())
    if isinstance(value, str) and _DAY.match(value):
        return date_format(date.fromisoformat(value))
    choices = dict(getattr(_field(event, name), "choices", None) or ())
    if value in choices:
        return str(choices[value])
    return value.replace("_", " ") if isinstance(value, str) and value.islower() else str(value)
