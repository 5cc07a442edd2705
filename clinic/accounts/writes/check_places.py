"""Files, triggers, permits and keys."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from django.db import connection, models
from django.db.models import Exists, OuterRef

from clinic.accounts.writes.check_parts import (
    PIECE,
    AlteredPlace,
    erased_by_law,
)
from clinic.capture.writes.photos import thumbnail_name
from clinic.models import AuditEvent, Erasure, ErasurePermit, Person, PersonKey, Photo
from clinic.record import append_only

__all__ = ["file_differences", "loose_keys", "small_copy_differences", "standing_differences"]


def file_differences(model: type[Any]) -> Iterator[AlteredPlace]:
    """A kept file has the hash of its content as its name."""
    for column in (f for f in model._meta.concrete_fields if isinstance(f, models.FileField)):
        for row in model._base_manager.order_by("pk").only("pk", column.name).iterator(chunk_size=PIECE):
            file = getattr(row, column.name)
            where = f"{model._meta.db_table}: file of row {row.pk}"
            if not file:
                continue
            if not file.storage.exists(str(file.name)):
                yield AlteredPlace(f"{where} is missing from the store")
                continue
            with file.storage.open(str(file.name)) as opened:
                digest = hashlib.file_digest(opened, "sha256").hexdigest()
            if digest != str(file.name).rsplit("/", 1)[-1].split(".")[0]:
                yield AlteredPlace(f"{where} is not the one that was stored")


def small_copy_differences() -> Iterator[AlteredPlace]:
    """The small copy of a photo has the hash that its row names; a missing one is made when asked for."""
    for photo in Photo.objects.order_by("pk").iterator(chunk_size=PIECE):
        storage, name = photo.file.storage, thumbnail_name(photo)
        if not storage.exists(name):
            continue
        with storage.open(name) as opened:
            digest = hashlib.file_digest(opened, "sha256").hexdigest()
        if digest != photo.small_sha256:
            yield AlteredPlace(f"clinic_photo: small copy of row {photo.pk} is not the one that was stored")


def standing_differences() -> Iterator[AlteredPlace]:
    for name in append_only.missing(connection):
        yield AlteredPlace(f"trigger {name} is missing: rows can be altered in the database")
    for name in append_only.altered(connection):
        yield AlteredPlace(f"trigger {name} is not the program's: rows can be altered in the database")
    for permit in ErasurePermit.objects.order_by("pk"):
        yield AlteredPlace(f"clinic_erasurepermit: row {permit.pk} stands, so copies can be removed")


def loose_keys() -> Iterator[AlteredPlace]:
    there = Person.objects.filter(pk=OuterRef("person_id"))
    for key in PersonKey.objects.filter(~Exists(there)).order_by("pk"):
        yield AlteredPlace(f"clinic_personkey: row {key.pk} is the key of nobody")
    stated = AuditEvent.objects.filter(person_id=OuterRef("person_id"))
    for key in PersonKey.objects.filter(~Exists(stated)).order_by("pk"):
        yield AlteredPlace(f"clinic_personkey: row {key.pk} opens no row of the chain")
    # An erasure of which the chain knows nothing would excuse a missing key.
    people, _, _ = erased_by_law()
    for erasure in Erasure.objects.exclude(person_id__in=people).order_by("pk"):
        yield AlteredPlace(
            f"clinic_erasure: row {erasure.pk} is carried by no row of the chain, so nobody wrote it"
        )
