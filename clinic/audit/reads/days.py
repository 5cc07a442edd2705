"""Whole days in SQL, the same on both databases: a date so many days on, and the days between two dates."""

from __future__ import annotations

from typing import Any

from django.db.models import DateField, Func, IntegerField

__all__ = ["AddDays", "Days"]


class AddDays(Func):
    """A date a fixed number of days later."""

    output_field = DateField()
    template = "(%(expressions)s + %(days)s)"

    def __init__(self, when: Any, days: int, **extra: Any) -> None:
        super().__init__(when, days=int(days), **extra)

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        return super().as_sql(compiler, connection, template="date(%(expressions)s, '%(days)s days')", **more)


class Days(Func):
    """Days from the second date to the first."""

    output_field = IntegerField()
    template = "(%(expressions)s)"
    arg_joiner = " - "

    def __init__(self, later: Any, earlier: Any, **extra: Any) -> None:
        super().__init__(later, earlier, **extra)

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        later, earlier = self.get_source_expressions()
        one, first = compiler.compile(later)
        two, second = compiler.compile(earlier)
        return f"CAST(julianday({one}) - julianday({two}) AS INTEGER)", (*first, *second)
