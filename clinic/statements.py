"""Statements whose SQL is put together once, from the models, and then run with other values each time.

Putting a query together and compiling it takes longer than a small read takes the database. Where a save asks the same
few questions every time, each is written as a query with `Asked` in the place of a value, and decorated:

    @Statement
    def open_lesions():
        return Lesion.objects.filter(limb__person=Asked("person", BigIntegerField()), state="open").values_list("pk")

    open_lesions.rows(person=7)

`insertion(model)` is the INSERT of one row.
Values go to the database apart from the text, prepared by their field as the ORM does. The text follows the models.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from types import SimpleNamespace
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.models import Expression, Field, Model, QuerySet
from django.db.models.sql import InsertQuery

__all__ = ["Asked", "Insertion", "Statement", "insertion"]


class Asked(Expression):
    """Stands in a query for a value that is told when the statement runs; None is never equal to anything."""

    def __init__(self, name: str, field: Field[Any, Any]) -> None:
        super().__init__(output_field=field)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        return "%s", (self,)


@dataclass(frozen=True)
class _Compiled:
    model: Any
    text: str
    params: tuple[Any, ...]
    columns: tuple[Any, ...]
    #: Place of a column, its expression, and what makes the database's value ours.
    readers: tuple[tuple[int, Any, Callable[..., Any]], ...]
    locks: bool


class Statement:
    """One read of a fixed shape, on the database that is written to."""

    def __init__(self, query: Callable[[], QuerySet[Any, Any]]) -> None:
        self._query = query
        self.__doc__ = query.__doc__

    @cached_property
    def _compiled(self) -> _Compiled:
        query = self._query().query
        compiler = query.get_compiler(DEFAULT_DB_ALIAS)
        text, params = compiler.as_sql()
        columns = tuple(column for column, _, _ in compiler.select)
        readers = tuple(
            (place, column, convert)
            for place, (converters, column) in compiler.get_converters(columns).items()
            for convert in converters
        )
        return _Compiled(query.model, text, tuple(params), columns, readers, query.select_for_update)

    def rows(self, **told: Any) -> list[tuple[Any, ...]]:
        """Every row, as tuples of Python values in the order of the query's columns."""
        ready, connection = self._compiled, connections[DEFAULT_DB_ALIAS]
        if ready.locks and not connection.in_atomic_block:
            raise transaction.TransactionManagementError("rows are held inside a transaction only")
        params = [
            p.output_field.get_db_prep_value(told[p.name], connection) if isinstance(p, Asked) else p
            for p in ready.params
        ]
        with connection.cursor() as cursor:
            cursor.execute(ready.text, params)
            found = cursor.fetchall()
        return [_read(row, ready, connection) for row in found] if ready.readers else found

    def first(self, **told: Any) -> tuple[Any, ...] | None:
        """The first row, or None."""
        return next(iter(self.rows(**told)), None)

    def instance(self, **told: Any) -> Any:
        """The first row of a query for whole rows, as its model's instance; it must be there."""
        model, columns = self._compiled.model, self._compiled.columns
        row = self.first(**told)
        if row is None:
            raise model.DoesNotExist(f"{model._meta.object_name} matching query does not exist.")
        return model.from_db(DEFAULT_DB_ALIAS, [column.target.attname for column in columns], row)


def _read(row: tuple[Any, ...], ready: _Compiled, connection: Any) -> tuple[Any, ...]:
    values = list(row)
    for place, column, convert in ready.readers:
        values[place] = convert(values[place], column, connection)
    return tuple(values)


class Insertion:
    """The INSERT of one row of a model, of whatever the database does not number itself."""

    def __init__(self, model: type[Model]) -> None:
        self._model = model

    @cached_property
    def fields(self) -> list[Field[Any, Any]]:
        meta = self._model._meta
        return [field for field in meta.local_concrete_fields if field is not meta.auto_field]

    @cached_property
    def _compiled(self) -> tuple[str, Any]:
        query = InsertQuery(self._model)
        asked: Any = SimpleNamespace(**{f.attname: Asked(f.attname, f) for f in self.fields})
        query.insert_values(self.fields, [asked], raw=True)
        compiler: Any = query.get_compiler(DEFAULT_DB_ALIAS)
        compiler.returning_fields = [self._model._meta.pk]
        [(text, _)] = compiler.as_sql()
        return text, compiler.returning_params

    def takes(self, values: dict[str, Any]) -> bool:
        """Whether all are plain values; an expression is for the ORM to put into words."""
        return not any(hasattr(value, "resolve_expression") for value in values.values())

    def write(self, values: dict[str, Any]) -> int:
        """Write one row, every column told under its name in the database; returns the number it was given."""
        (text, returning), connection = self._compiled, connections[DEFAULT_DB_ALIAS]
        meta: Any = self._model._meta
        ops: Any = connection.ops
        params = [field.get_db_prep_save(values[field.attname], connection) for field in self.fields]
        with connection.cursor() as cursor:
            cursor.execute(text, params)
            if connection.features.can_return_columns_from_insert:
                return int(ops.fetch_returned_insert_columns(cursor, returning)[0])
            return int(ops.last_insert_id(cursor, meta.db_table, meta.pk.column))


@cache
def insertion(model: type[Model]) -> Insertion:
    return Insertion(model)
