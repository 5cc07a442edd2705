"""What the pages of a morning show, as the laws read it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from clinic.models import AuditEvent, Lesion, Limb, LimbPlan, Person, Prescription, Site, Visit
from clinic.week.reads.today import TodayLists, today_lists

from . import reads
from .world import World


class Shown:
    """What Today says at each clinic, beside the rows; laws speak of everybody, whomever the event touched.

    Today is read again where the day or the clinic's chain has gone on and a table that it was read from was
    written to; `anew` reads everything again.
    """

    def __init__(self, w: World, *, anew: bool = False) -> None:
        self.tables = w.tables
        #: Rows of the chain since the last look: number, clinic, place in its chain, person.
        self.new = list(
            AuditEvent.objects.filter(pk__gt=w.held_to)
            .order_by("pk")
            .values_list("pk", "site_id", "sequence", "person_id")
        )
        self.anew = anew
        w.held_to = self.new[-1][0] if self.new else w.held_to
        #: Whom the events since the last look touched, by the chain.
        self.touched = {person for *_, person in self.new}
        grown = {site for _, site, *_ in self.new}
        self.lists: dict[int, TodayLists] = {}
        for site in w.sites:
            key = ("today", site.pk, w.today)
            lists = self.tables.last(key)
            if anew or lists is None or site.pk in grown:
                lists = self.read(w, key, lambda s=site: self._today(w, s))
            self.lists[site.pk] = lists
        self.all_rows = [
            row
            for one in self.lists.values()
            for row in (*one.morning.rows, *one.overdue, *one.due, *one.coming, *one.remission)
        ]

    def read(self, w: World, key: Any, make: Callable[[], Any]) -> Any:
        """A page put together of reads that still stand; `anew` by nothing kept, and both say the same."""
        if not self.anew:
            with reads.kept(self.tables, w.today):
                return self.tables.reading(key, make)
        page = make()
        with reads.kept(self.tables, w.today):
            assert make() == page, f"{key}: a kept read is not what is read now"
        return page

    def _today(self, w: World, site: Site) -> TodayLists:
        return today_lists(self.clinic(site.pk), w.today, signer=w.users[site.pk]["podiatrist"][0])

    def clinic(self, pk: int) -> Site:
        """A clinic with its house rules, as they stand."""
        if self.anew:
            return Site.objects.get(pk=pk)
        found: Site = self.tables.kept(("site", pk), (Site._meta.db_table,), lambda: Site.objects.get(pk=pk))
        return found

    # --- rows -----------------------------------------------------------------------------------------------
    def of(self, model: Any) -> Mapping[Any, Any]:
        return self.tables.of(model)

    def all(self, model: Any) -> list[Any]:
        return list(self.of(model).values())

    def person_of(self, row: Any) -> Any:
        """The person on whom a row hangs, as a row."""
        if hasattr(row, "person_id"):
            return self.of(Person)[row.person_id]
        if hasattr(row, "limb_id"):
            return self.person_of(self.of(Limb)[row.limb_id])
        if hasattr(row, "limb_plan_id"):
            return self.person_of(self.of(LimbPlan)[row.limb_plan_id])
        if hasattr(row, "prescription_id"):
            return self.person_of(self.of(Prescription)[row.prescription_id])
        return self.person_of(self.of(Lesion)[row.lesion_id])

    def in_care(self, row: Any) -> bool:
        return bool(self.person_of(row).state == "in_care")

    def newest_visit(self, person: int) -> Any:
        """The newest visit that stands."""
        rows = [one for one in self.all(Visit) if one.person_id == person and one.state == "stands"]
        return max(rows, key=lambda one: (one.visited_on, one.pk), default=None)

    # --- Today ----------------------------------------------------------------------------------------------
    def morning(self, part: str) -> Counter[int]:
        """Rows of a part by person."""
        return Counter(row.person.pk for one in self.lists.values() for row in getattr(one.morning, part))

    def by_date(self) -> Counter[int]:
        return Counter(
            row.person.pk
            for one in self.lists.values()
            for row in (*one.overdue, *one.due, *one.coming, *one.remission)
        )

    def asks(self, url_name: str) -> Counter[Any]:
        return Counter(ask.pk for row in self.all_rows for ask in row.asks if ask.url_name == url_name)

    def waits_for_the_manager(self, person: int) -> bool:
        """Whether a row of a restricted record says that a manager is asked."""
        return any(
            row.person.pk == person and any(ask.message.id == "restricted_wait" for ask in row.asks)
            for row in self.all_rows
        )

    def stands_once(self, part: str, url_name: str, rows: list[Any]) -> None:
        """Each row stands in the part, and asks for its answer but where the record is restricted."""
        assert self.morning(part) == Counter(self.person_of(row).pk for row in rows), part
        asked = Counter(row.pk for row in rows if self.person_of(row).restricted_on is None)
        assert self.asks(url_name) == asked, url_name


Law = Callable[[World, Shown], None]
LAWS: list[Law] = []


def law(check: Law) -> Law:
    LAWS.append(check)
    return check
