"""Whose rows stand in what a page is about to show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from django.db.models import ForeignKey, Model

from clinic.models import Person

__all__ = ["people_in"]


def people_in(value: Any) -> Iterator[int]:
    """Number of each person in a value made of records, sequences and mappings; nothing is fetched for it."""
    if isinstance(value, Person):
        yield value.pk
    elif isinstance(value, Model):
        for column in value._meta.concrete_fields:
            if isinstance(column, ForeignKey):
                if column.related_model is Person:
                    number = getattr(value, column.attname)
                    if number is not None:
                        yield number
                elif column.is_cached(value):
                    yield from people_in(getattr(value, column.name))
    elif is_dataclass(value) and not isinstance(value, type):
        for part in fields(value):
            yield from people_in(getattr(value, part.name))
    elif isinstance(value, Mapping):
        for part in value.values():
            yield from people_in(part)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for part in value:
            yield from people_in(part)
