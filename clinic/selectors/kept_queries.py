"""Queries of a fixed shape: put together once a process, and run again with other values in their blanks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping
from datetime import timedelta
from functools import wraps
from typing import Any, Generic, TypeVar

from django.core.exceptions import EmptyResultSet
from django.db.models import Expression, Field, IntegerField, QuerySet

__all__ = ["Blank", "Filling", "Kept", "of_numbers"]

Shape = TypeVar("Shape", bound=Hashable)


class Filling:
    """What the blanks of one query stand for at the moment."""

    def __init__(self) -> None:
        self.values: Mapping[str, Any] = {}


class Blank(Expression):
    """A value that is filled in when the query runs; a day may stand some days before or after it."""

    def __init__(self, filling: Filling, name: str, output_field: Field[Any, Any], days: int = 0) -> None:
        super().__init__(output_field=output_field)
        self.filling, self.name, self.days = filling, name, days

    def __add__(self, other: Any) -> Any:
        return Blank(self.filling, self.name, self.output_field, self.days + other.days)

    def __sub__(self, other: Any) -> Any:
        return Blank(self.filling, self.name, self.output_field, self.days - other.days)

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        value = self.filling.values[self.name]
        if self.days:
            value += timedelta(days=self.days)
        return "%s", (self.output_field.get_db_prep_value(value, connection),)


class _Numbers(Blank):
    """Numbers of rows; the database is not asked about none."""

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        numbers = self.filling.values[self.name]
        if not numbers:
            raise EmptyResultSet
        return f"({', '.join(['%s'] * len(numbers))})", numbers


class Kept(Generic[Shape]):
    """Query sets by their shape. Each is lent to one reader at a time and read before it is given back.

    Nothing of the answers is kept, and of the values only those of the last reading, which the next one replaces.
    """

    def __init__(self, make: Callable[[Shape, Filling], QuerySet[Any, Any]]) -> None:
        self._make = make
        self._free: dict[Shape, list[tuple[QuerySet[Any, Any], Filling]]] = defaultdict(list)

    def read(self, shape: Shape, values: Mapping[str, Any]) -> list[Any]:
        """All rows of the query of this shape; never the query itself, which belongs to the next reader."""
        try:
            rows, filling = self._free[shape].pop()
        except IndexError:
            filling = Filling()
            rows = self._make(shape, filling)
        filling.values = values
        found = list(rows.all())
        self._free[shape].append((rows, filling))
        return found


def of_numbers(make: Callable[[Any], QuerySet[Any, Any]]) -> Callable[[Iterable[int]], list[Any]]:
    """Make a reader of a query about rows by their numbers: `filter(person__in=…)`, in which only these change."""
    kept: Kept[str] = Kept(lambda shape, filling: make(_Numbers(filling, "numbers", IntegerField())))

    @wraps(make)
    def read(numbers: Iterable[int]) -> list[Any]:
        return kept.read("", {"numbers": tuple(numbers)})

    return read
