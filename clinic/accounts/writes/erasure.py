"""What the law may ask for one person's record: a copy of all of it, its restriction, its erasure."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from django.apps import apps
from django.core.files.storage import default_storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, models, transaction
from django.forms.models import model_to_dict
from django.utils import timezone

from clinic.models import (
    AuditEvent,
    BreakGlass,
    ClinicalRecord,
    Erasure,
    ErasurePermit,
    Merge,
    Person,
    PersonKey,
    User,
    ViewEvent,
)
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_allowed
from clinic.record.reads.person_rows import nouns_of, plan_rows_of
from clinic.record.writes import audit
from clinic.record.writes.rows import restrict, store

__all__ = ["nouns_of", "person_erase", "person_export", "person_lift", "person_restrict"]

SHORTEST_GROUND = 10
ERASED_REASON = "The record was erased by law; what was typed here is gone."


def _rows(person: Person) -> Iterable[tuple[type[ClinicalRecord], list[Any]]]:
    for model, path in nouns_of():
        yield model, list(model._default_manager.filter(**{path: person.pk}))


@transaction.atomic
def person_export(*, by: User, person: Person) -> str:
    """Everything kept about a person as JSON text: each row, each of its earlier copies, who did and read
    what.
    """

    def plain(row: models.Model) -> dict[str, Any]:
        copied = model_to_dict(row)
        copied |= {f.name: f.value_from_object(row) for f in row._meta.concrete_fields}
        return {
            key: value.name if hasattr(value, "storage") else value
            for key, value in copied.items()
            if key != "history_user"
        }

    def with_copies(row: Any) -> dict[str, Any]:
        copies = [
            {
                f.name: f.value_from_object(copy)
                for f in copy._meta.concrete_fields
                if f.name != "history_user"
            }
            for copy in row.history.order_by("history_id")
        ]
        copied = plain(row)
        for name, value in copied.items():
            if isinstance(value, list):
                copied[name] = [item.pk if isinstance(item, models.Model) else item for item in value]
        return {"now": copied, "copies": copies}

    # A record merged into this one told of the same person under another number.
    merged = list(Person.objects.filter(merged_into=person).order_by("pk"))
    numbers = [person.pk, *(one.pk for one in merged)]
    keys = dict(PersonKey.objects.filter(pk__in=numbers).values_list("pk", "key"))
    done = []
    for event in AuditEvent.objects.filter(person_id__in=numbers).order_by("at", "pk"):
        event.person_key = keys.get(event.person_id or 0)
        done.append(
            {
                "at": event.at,
                "by": event.actor,
                "verb": event.verb,
                "what": event.target_kind,
                "number": event.target_id,
                "detail": json.loads(event.detail),
            }
        )
    read = list(
        ViewEvent.objects.filter(_shown(numbers)).order_by("pk").values("at", "actor", "actor_role", "page")
    )
    plans = {
        model._meta.model_name: [
            plain(row) for row in model._default_manager.filter(pk__in=keys).order_by("pk")
        ]
        for model, keys in plan_rows_of(numbers)
    }
    whole = {
        "made_at": timezone.now(),
        "person": with_copies(person),
        "merged_records": [with_copies(one) for one in merged],
        "records": {
            model._meta.model_name: [with_copies(row) for row in rows] for model, rows in _rows(person)
        },
        "relief_plans": plans,
        "done": done,
        "read": read,
        "notice": "Supports licensed judgement; not a diagnosis. Pictures are named here and handed over "
        "beside it.",
    }
    text = json.dumps(whole, cls=_Plain, indent=1, ensure_ascii=False, sort_keys=True)
    audit.record(by=by, site=person.site, verb="exported", target=person, person=person, bytes=len(text))
    return text


class _Plain(DjangoJSONEncoder):
    def default(self, o: Any) -> Any:
        if isinstance(o, models.Model):
            return o.pk
        try:
            return super().default(o)
        except TypeError:
            return str(o)


def _shown(numbers: Iterable[int]) -> models.Q:
    """Reads of the record itself, and of lists it stood on."""
    found = models.Q(person_id__in=numbers)
    for number in numbers:
        found |= models.Q(listed__contains=f",{number},")
    return found


def _ground(ground: str, field: str) -> str:
    ground = ground.strip()
    if len(ground) < SHORTEST_GROUND:
        raise Refused(
            f"Legal ground: {len(ground)} characters; at least {SHORTEST_GROUND} are needed.", field=field
        )
    return ground


@transaction.atomic
def person_restrict(*, by: User, person: Person, because: str) -> Person:
    """Keep the record and do nothing more with it: no writing, no figure, no list that leaves the clinic."""
    person_allowed(person, "restrict")
    person.restricted_on, person.restricted_because = timezone.localdate(), _ground(because, "ground")
    with restrict.lifted():
        store(person, by=by, why="restricted")
    audit.record(
        by=by,
        site=person.site,
        verb="restricted",
        target=person,
        person=person,
        because=person.restricted_because,
    )
    return person


@transaction.atomic
def person_lift(*, by: User, person: Person) -> Person:
    person_allowed(person, "lift")
    person.restricted_on, person.restricted_because = None, ""
    with restrict.lifted():
        store(person, by=by, why="restriction lifted")
    audit.record(by=by, site=person.site, verb="lifted the restriction of", target=person, person=person)
    return person


@transaction.atomic
def person_erase(*, by: User, person: Person, typed_number: str, ground: str) -> Erasure:
    """Erase a record by law. Rows, copies, pictures and the key of its audit payloads go; the chain stays
    whole.

    What remains: that a record with this number of ours was worked on and by whom, without a word of what it
    said.
    """
    if typed_number.strip() != person.record_number:
        raise Refused("Record number: not the one of this patient; nothing was erased.", field="typed_number")
    ground = _ground(ground, "ground")
    person = Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=person.pk)
    person_allowed(person, "erase")
    number, site = person.pk, person.site
    # What was merged into the record is of the same person: its rows are here already, its name and key go
    # too.
    numbers = [*Person.objects.filter(merged_into=person).order_by("pk").values_list("pk", flat=True), number]
    ErasurePermit(pk=number).save(force_insert=True)
    parted = list(Merge.objects.filter(emptied__in=numbers).exclude(kept__in=numbers))
    copies = _forget_filled(parted)
    gone: dict[str, list[int]] = {"merge": [], "person": numbers}
    gone["merge"] = list(Merge.objects.filter(emptied__in=numbers).values_list("pk", flat=True))
    _delete(Merge, gone["merge"])
    names: set[str] = set()
    rows = 0
    erasures: list[Erasure] = []
    for each in numbers:
        found = _erase_rows(each, names)
        _delete(Person, [each])
        PersonKey(pk=each).delete()
        counts = {name: len(keys) for name, keys in found.items()}
        erased = Erasure(site=site, person_id=each, at=timezone.now(), by=by, ground=ground, rows=counts)
        erased.save(force_insert=True)
        erasures.append(erased)
        rows += sum(counts.values())
        for name, keys in found.items():
            gone[name] = [*gone.get(name, []), *keys]
    glasses = _forget_reasons(numbers)
    # The check of the record excuses these rows and copies, and no others.
    audit.record(
        by=by,
        site=site,
        verb="erased",
        target=erasures[-1],
        also=[*erasures, *glasses],
        number=number,
        ground=ground,
        rows=rows,
        merged=numbers[:-1],
        erased_rows={name: sorted(keys) for name, keys in gone.items() if keys},
        erased_copies=copies,
    )
    ErasurePermit(pk=number).delete()
    # Files go only when the rows are gone for good; a picture has the hash of its content as its name.
    transaction.on_commit(lambda: _forget_files(names))
    transaction.on_commit(_forget_pages)
    return erasures[-1]


def _erase_rows(number: int, names: set[str]) -> dict[str, list[int]]:
    """Everything that hangs on one record, leaves first; the names of its files are added to `names`."""
    gone: dict[str, list[int]] = {}
    plans = plan_rows_of([number])
    for model, path in nouns_of():
        rows = list(model._default_manager.filter(**{path: number}))
        for row in rows:
            names |= {
                getattr(row, field.name).name
                for field in row._meta.concrete_fields
                if isinstance(field, models.FileField) and getattr(row, field.name)
            }
        gone[model._meta.model_name or ""] = [row.pk for row in rows]
        _delete(model, [row.pk for row in rows])
    for plain, keys in plans:
        # One by one in this order: a plan is replaced by a later one.
        for key in keys:
            plain._default_manager.filter(pk=key).delete()
        gone[plain._meta.label_lower] = keys
    return gone


def _forget_reasons(numbers: list[int]) -> list[BreakGlass]:
    """What was typed about an erased person when a glass was broken; the notice itself stays."""
    glasses = list(BreakGlass.objects.filter(person_id__in=numbers).order_by("pk"))
    for glass in glasses:
        glass.reason = ERASED_REASON
        glass.save(update_fields=["reason"])
    return glasses


def _forget_filled(parted: Iterable[Merge]) -> dict[str, list[int]]:
    """Copies of another person's rows that held words of this one between a mistaken merge and its undoing.

    Returns their numbers by noun.
    """
    gone: dict[str, list[int]] = {}
    for merge in parted:
        for change in merge.changes:
            if change["moved"]:
                continue
            model = apps.get_model("clinic", change["noun"])
            copies = model.history.model._base_manager.filter(  # type: ignore[attr-defined]
                id=change["pk"],
                history_date__gte=merge.merged_at,
                history_date__lte=merge.undone_at,
                **{change["column"]: change["after"]},
            )
            keys = list(copies.order_by("history_id").values_list("history_id", flat=True))
            gone[change["noun"]] = [*gone.get(change["noun"], []), *keys]
            copies._raw_delete(copies.db)
    return gone


def _delete(model: type[Any], keys: list[int]) -> None:
    """Rows and their copies, many-to-many copies included."""
    history = model.history.model
    for relation in history._meta.related_objects:
        if relation.related_model._meta.model_name.startswith("historical"):
            relation.related_model._base_manager.filter(**{f"{relation.field.name}__id__in": keys}).delete()
    for row in model._default_manager.filter(pk__in=keys):
        row.skip_history_when_saving = True
    rows = model._default_manager.filter(pk__in=keys)
    for field in model._meta.many_to_many:
        field.remote_field.through._base_manager.filter(**{f"{field.m2m_field_name()}__in": keys}).delete()
    rows._raw_delete(rows.db)
    copies = history._base_manager.filter(**{f"{model._meta.pk.name}__in": keys})
    copies._raw_delete(copies.db)


def _forget_pages() -> None:
    """SQLite keeps the pages before a change in its log until it is written back: write it back, empty it.

    Deleted cells themselves are overwritten (`secure_delete`, set where the database is opened).
    """
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _forget_files(names: Iterable[str]) -> None:
    for name in names:
        sha256 = name.rsplit("/", 1)[-1].removesuffix(".jpg")
        for each in (name, f"thumbnails/{sha256[:2]}/{sha256}.jpg"):
            if default_storage.exists(each):
                default_storage.delete(each)
