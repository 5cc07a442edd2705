"""The reads that Today and Review are put together from, each made again only after a table it read from was
written to; what is put together of them is put together anew every time.

At the end of one sequence in five both are read without anything kept and must say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import date
from typing import Any
from unittest.mock import patch

from django.db.models import Model, QuerySet

from clinic.curves.reads import healing
from clinic.models import Lesion, Limb, Person, Site
from clinic.week.reads import morning_left, review, today, today_cases, waiting

from .tables import Tables

__all__ = ["kept"]

#: Where a read is called from, and by which name there.
READS: tuple[tuple[Any, str], ...] = (
    (today_cases, "people_in_care true_lesions last_readings site_error unanswered_flags running_devices"),
    (today_cases, "unsigned_plans flags_standing attempts_since unanswered_calls unreached_referrals"),
    (today_cases, "unread_looks begun_visits owners_past back_home limbs_of latest_findings"),
    (waiting, "results_open courses_ending items_due last_reviews healings_of"),
    (healing, "backgrounds own_figures trace_errors marks_of"),
    (review, "healings_of surroundings_of"),
    (morning_left, "left_people devices_without_ulcer"),
    (today, "marks_of_day"),
)
#: Reads that look at the clock by themselves, where the others are handed the day.
OF_THE_DAY = (waiting.__name__, healing.__name__, review.__name__)
#: Tables that a row handed to a read was read from itself.
HANDED: dict[Any, tuple[Any, ...]] = {Lesion: (Lesion, Limb, Person), Limb: (Limb, Person), Site: (Site,)}


def _told(value: Any, beside: set[str]) -> Any:
    """An argument as part of a key; the tables of rows among it are put to `beside`."""
    if isinstance(value, Model):
        beside.update(model._meta.db_table for model in HANDED[type(value)])
        return value.pk
    if isinstance(value, Mapping | Collection) and not isinstance(value, str):
        return tuple(_told(one, beside) for one in value)
    return value


def _keeping(tables: Tables, day: date | None, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def read(*args: Any, **named: Any) -> Any:
        beside: set[str] = set()
        key = (name, day, _told(args, beside), tuple(named), _told(named.values(), beside))

        def make() -> Any:
            found = real(*args, **named)
            return list(found) if isinstance(found, QuerySet) else found

        return tables.reading(key, make, beside=beside)

    return read


@contextmanager
def kept(tables: Tables, day: date) -> Iterator[None]:
    """Within it the reads are kept; never within an event, of which a part may be taken back."""
    with ExitStack() as stack:
        for module, names in READS:
            for name in names.split():
                real = getattr(module, name)
                on = day if module.__name__ in OF_THE_DAY else None
                keeping = _keeping(tables, on, f"{module.__name__}.{name}", real)
                stack.enter_context(patch.object(module, name, keeping))
        yield
