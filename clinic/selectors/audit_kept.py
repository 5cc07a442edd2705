"""The audit's counts as kept queries: a shape is a kind of case, how it is counted, and what it is narrowed by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from django.db.models import CharField, DateField, IntegerField, QuerySet

from .audit_cases import AuditFilter, Base
from .kept_queries import Blank, Filling, Kept

__all__ = ["counted"]

#: From the rows of a base and the base itself to the query that counts them.
Counting = Callable[[QuerySet[Any], Base], QuerySet[Any]]


class _Shape(NamedTuple):
    """Whatever changes the words of a query and not only its values."""

    base: Base
    counting: Counting
    everywhere: bool
    moves: bool
    by_class: bool
    by_prescriber: bool


@dataclass(frozen=True)
class _Blanks(AuditFilter):
    """An audit of one clinic, or of all, that says blanks where another says days and numbers."""

    site: Any = None
    last: Any = None
    moves: bool = field(default=False)

    @property
    def site_ids(self) -> list[Any]:
        return [self.site]

    @property
    def handed_over(self) -> bool:  # type: ignore[override]
        return self.moves

    def last_day(self, today: date) -> Any:
        return self.last


def _made(shape: _Shape, filling: Filling) -> QuerySet[Any]:
    def day(name: str) -> Any:
        return Blank(filling, name, DateField())

    def number(name: str) -> Any:
        return Blank(filling, name, IntegerField())

    blanks = _Blanks(
        sites=(),
        since=day("since"),
        until=day("until"),
        device_class=Blank(filling, "device_class", CharField()) if shape.by_class else "",  # type: ignore[arg-type]
        prescriber=number("prescriber") if shape.by_prescriber else None,
        everywhere=shape.everywhere,
        site=number("site"),
        last=day("last"),
        moves=shape.moves,
    )
    return shape.counting(shape.base.rows(blanks, day("today")), shape.base)


_KEPT = Kept(_made)


def counted(base: Base, counting: Counting, asked: AuditFilter, today: date) -> list[Any]:
    """Rows of a count. For some of several clinics the query is put together anew: their number is in its words."""
    if len(asked.sites) != 1 and not asked.everywhere:
        return list(counting(base.rows(asked, today), base))
    return _KEPT.read(
        _Shape(
            base,
            counting,
            asked.everywhere,
            not asked.everywhere and asked.handed_over,
            bool(asked.device_class),
            asked.prescriber is not None,
        ),
        {
            "since": asked.since,
            "until": asked.until,
            "last": asked.last_day(today),
            "today": today,
            "site": asked.sites[0].pk if asked.sites else None,
            "device_class": asked.device_class,
            "prescriber": asked.prescriber,
        },
    )
