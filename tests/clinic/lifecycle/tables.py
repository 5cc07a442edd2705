"""The tables as the laws read them: each is read again only after somebody wrote to it.

Every statement goes through `watch`, which counts the writes of each table. What is kept is a function of the
tables it was read from alone, so it stands while their counts do. At the end of one sequence in five nothing
kept is believed: everything is read anew and held against it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from functools import cache
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Count

from clinic.models import (
    AccountLink,
    Episode,
    IncomingCall,
    Lesion,
    Limb,
    LimbPlan,
    Look,
    Measurement,
    Merge,
    OpeningCard,
    Person,
    PersonKey,
    PlanFlag,
    Prescription,
    RedFlag,
    Referral,
    Transfer,
    User,
    Visit,
    Weight,
)
from offload.models import PlanStep, ReliefPlan

__all__ = ["COPIED", "Tables", "rows_of"]

#: What of each table the laws look at, after its number.
COLUMNS: dict[Any, str] = {
    Person: "version site_id state restricted_on merged_into_id",
    PersonKey: "",
    Limb: "person_id",
    Weight: "person_id measured_on withdrawn_on visit_id",
    Episode: "person_id ended_on",
    Lesion: "version limb_id episode_id state outcome closed_on confirmed_on ended_on instead_id",
    Visit: "version person_id state visited_on next_on unfinished",
    Measurement: "visit_id lesion_id covered_dry area_mm2",
    Prescription: "version limb_id device_class second_needed second_at overriding second_confirmed_at "
    "signed_by_id relief_plan_id fitted_on sealed_on open_by opened_on opened_visit_id stopped_on created_at",
    OpeningCard: "version prescription_id sealed_on open_by handed_at",
    RedFlag: "version person_id answer withdrawn_on visit_id",
    IncomingCall: "person_id done",
    Look: "version lesion_id read_at",
    Referral: "person_id urgency reached_at accepted_at seen_on result cancelled_because",
    LimbPlan: "limb_id plan_id ended_on",
    ReliefPlan: "code state",
    PlanStep: "plan_id kind passed takes_back_id",
    PlanFlag: "limb_plan_id answer withdrawn_on",
    Transfer: "version person_id from_site_id state",
    Merge: "kept_id undone_at",
    User: "is_active",
    AccountLink: "user_id used_at expires_at",
}
#: The nouns whose copies the laws count.
COPIED = (Person, Lesion, Visit, Prescription, OpeningCard, Look, RedFlag, Transfer)
ROW: dict[Any, Any] = {
    model: NamedTuple(model.__name__, [("pk", Any), *((name, Any) for name in names.split())])
    for model, names in COLUMNS.items()
}
WRITES = re.compile(r'\s*(?:INSERT(?: OR IGNORE)? INTO|UPDATE|DELETE FROM) "(\w+)"')
READS = re.compile(r'(?:FROM|JOIN) "(\w+)"')
#: The rows of a table that the pages read, where others come and go: the accounts that care for nobody.
PART = {"clinic_user": "SELECT * FROM clinic_user WHERE username NOT LIKE 'leaver%' ORDER BY id"}
#: What is kept beside the tables and the reads of the pages, which are proved by reading them again.
ASIDE = ("copies", "of", "open", "site")
#: They change no row, or only give back what stood: nothing is kept from within an event.
NO_WRITES = ("SELECT", "(SELECT", "SAVEPOINT", "RELEASE", "ROLLBACK TO", "SET CONSTRAINTS", "PRAGMA")


@cache
def tables_along(model: Any, path: str) -> tuple[str, ...]:
    names = [model._meta.db_table]
    for step in path.split("__"):
        model = model._meta.get_field(step).related_model
        names.append(model._meta.db_table)
    return tuple(names)


def rows_of(statement: str) -> list[tuple[Any, ...]]:
    """Numbers straight from the database."""
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return list(cursor.fetchall())


class Tables:
    """What was read, with how often its tables had been written to by then."""

    def __init__(self) -> None:
        self.times: Counter[str] = Counter()
        self._kept: dict[Any, tuple[tuple[str, ...], tuple[int, ...], Any]] = {}
        #: Tables that the reads now under way have named, the inmost last.
        self._named: list[set[str]] = []
        #: Of a table of `PART`: at which count it was read, its rows, the count since which they stand.
        self._part: dict[str, tuple[int, list[Any], int]] = {}

    def again(self) -> Tables:
        """The same for one more sequence from the same point."""
        made = Tables()
        made.times, made._kept, made._part = Counter(self.times), dict(self._kept), dict(self._part)
        return made

    def watch(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if not sql.startswith(NO_WRITES):
            found = WRITES.match(sql)
            self.times[found[1] if found else "*"] += 1
        return execute(sql, params, many, context)

    def mark(self, names: Iterable[str]) -> tuple[int, ...]:
        return (self.times["*"], *(self.times[name] for name in names))

    def kept(self, key: Any, names: tuple[str, ...], make: Callable[[], Any]) -> Any:
        """What `make` reads from the tables named."""
        found = self._kept.get(key)
        mark = self.mark(names)
        if found is None or found[1] != mark:
            found = self._kept[key] = (names, mark, make())
        if self._named:
            self._named[-1].update(names)
        return found[2]

    def reading(self, key: Any, make: Callable[[], Any], *, beside: Iterable[str] = ()) -> Any:
        """The same of a read of the product; the tables are those that its statements name, those of the
        reads within it, and those `beside` that its arguments were read from.
        """
        found = self._kept.get(key)
        if found is None or found[1] != self._stands(found[0]):
            self._named.append(set(beside))
            try:
                with ExitStack() as stack:
                    if len(self._named) == 1:
                        stack.enter_context(connection.execute_wrapper(self._note))
                    value = make()
            finally:
                named = self._named.pop()
            names = tuple(sorted(named))
            found = self._kept[key] = (names, self._stands(names), value)
        if self._named:
            self._named[-1].update(found[0])
        return found[2]

    def _stands(self, names: Iterable[str]) -> tuple[int, ...]:
        """As `mark`; a write to rows that no page reads does not count."""
        return (self.times["*"], *(self._times(name) for name in names))

    def _times(self, name: str) -> int:
        times = self.times[name]
        if name in PART:
            before = self._part.get(name)
            if before is None or before[0] != times:
                rows = rows_of(PART[name])
                stands = before is not None and before[1] == rows
                before = self._part[name] = (times, rows, before[2] if before and stands else times)
            times = before[2]
        return times

    def _note(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        self._named[-1].update(READS.findall(sql))
        return execute(sql, params, many, context)

    def last(self, key: Any) -> Any:
        """What was read last, however old; None if it never was."""
        found = self._kept.get(key)
        return found[2] if found else None

    def of(self, model: Any) -> Mapping[Any, Any]:
        """The rows of a table by number."""
        return self.kept(model, (model._meta.db_table,), lambda: self._rows(model))

    @staticmethod
    def _rows(model: Any) -> dict[Any, Any]:
        row = ROW[model]
        columns = model._default_manager.order_by("pk").values_list("pk", *row._fields[1:])
        return {one[0]: row._make(one) for one in columns}

    def copies(self, model: Any) -> Mapping[Any, int]:
        """Version of the newest copy of each row of a noun."""

        table = model.history.model._meta.db_table

        def read() -> dict[Any, int]:
            return dict(rows_of(f'SELECT id, version FROM "{table}" ORDER BY history_id'))  # noqa: S608

        return self.kept(("copies", model), (table,), read)

    def by_person(self, model: Any, path: str) -> Mapping[int, int]:
        """How many rows of a noun hang on each person."""

        def read() -> dict[int, int]:
            return dict(model._default_manager.order_by().values_list(path).annotate(n=Count("pk")))

        return self.kept(("of", model), tables_along(model, path), read)

    def proved(self) -> None:
        """What is kept of every table is what stands there; what was read beside them is not believed any
        more.
        """
        for model in COLUMNS:
            if model in self._kept:
                assert self.of(model) == self._rows(model), f"{model.__name__}: a write went unseen"
        self._kept = {
            key: found for key, found in self._kept.items() if key in COLUMNS or key[0] not in ASIDE
        }
