"""A small invented network of two clinics, its clock, and the one way in which an event meets the charts."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from copy import copy
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from clinic.lifecycle.chart import Allows, Refuses
from clinic.lifecycle.charts import CHARTS
from clinic.models import Person, Site, User
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_state
from tests import factories

from .tables import Tables, rows_of

FIRST = date(2026, 3, 2)
#: Noun, state and event -> how often the cell answered, over the whole run of a process.
REACHED: Counter[tuple[str, str, str]] = Counter()
#: Event -> times it happened, times it was refused.
DONE: Counter[str] = Counter()
REFUSED: Counter[str] = Counter()
SENTENCES: Counter[tuple[str, str]] = Counter()
#: How many sequences and steps began.
SEQUENCES, STEPS = [0], [0]

Cell = tuple[str, str, str]


class World:
    """What one sequence of events plays in."""

    now = datetime.combine(FIRST, time(9), tzinfo=timezone.get_default_timezone())

    def __init__(self) -> None:
        World.now = datetime.combine(FIRST, time(9), tzinfo=timezone.get_default_timezone())
        self.sites: list[Site] = [
            factories.site(name="Alder", confirm_closure_days=14),
            factories.site(name="Birch", confirm_closure_days=14, second_signature=True),
        ]
        self.users: dict[int, dict[str, list[User]]] = {
            site.pk: {
                role: [factories.user(role, at=site) for _ in range(2)]
                for role in ("staff", "podiatrist", "manager")
            }
            for site in self.sites
        }
        self.random = Random(0)
        self.numbers = 0
        self.event = ""
        #: Person -> rows of care when they left it.
        self.left: dict[int, int] = {}
        self.erased: list[tuple[int, str]] = []
        self.steps = 0
        self.tables = Tables()
        #: Up to which row of the chain, and at which day and count of writes, the laws were held.
        self.held_to, self.held = 0, None
        #: Clinic -> the last number of its chain; the day and the open ulcers its Review was read for.
        self.chain: dict[int, int] = {}
        self.reviewed: dict[int, Any] = {}
        #: Rows that the next events are about, by model; empty when they choose for themselves.
        self.focus: dict[Any, int] = {}

    def again(self) -> World:
        """The same clinics for one more sequence, at the moment they were prepared."""
        SEQUENCES[0] += 1
        made = copy(self)
        World.now = self.prepared = getattr(self, "prepared", World.now)
        made.left, made.erased, made.focus = {}, [], {}
        made.tables, made.chain, made.reviewed = self.tables.again(), dict(self.chain), dict(self.reviewed)
        return made

    # --- time and choice ------------------------------------------------------------------------------------
    @property
    def today(self) -> date:
        return timezone.localdate(World.now)

    def later(self, days: int) -> None:
        World.now += timedelta(days=days)

    def tick(self) -> None:
        """Two events never happen at one moment; the working day does not end."""
        World.now += timedelta(seconds=20)

    def begin(self, event: str, seed: int) -> None:
        self.event, self.random = event, Random(seed)
        self.steps += 1
        STEPS[0] += 1
        self.tick()

    def pick(self, rows: Any) -> Any:
        """One row, more often a new one than an old one; None when there is none."""
        if rows.model in self.focus:
            return rows.model._default_manager.get(pk=self.focus[rows.model])
        keys = list(rows.order_by("-pk").values_list("pk", flat=True)[:8])
        if not keys:
            return None
        at = min(int(self.random.expovariate(0.6)), len(keys) - 1)
        return rows.get(pk=keys[at])

    def pick_beside(self, rows: Any) -> Any:
        """The same with what `rows` reads beside it, also where the focus names the row."""
        found = self.pick(rows)
        return rows.get(pk=found.pk) if found is not None and rows.model in self.focus else found

    def other(self, rows: Any) -> Any:
        """One row that is not what the events are about."""
        keys = list(rows.order_by("-pk").values_list("pk", flat=True)[:6])
        return rows.model._default_manager.get(pk=self.random.choice(keys)) if keys else None

    def form_key(self) -> UUID:
        """The key of a form that was not sent before: an event may come twice with the same choices."""
        return UUID(int=self.steps << 96 | self.random.getrandbits(96))

    def maybe(self, chance: float) -> bool:
        return self.random.random() < chance

    def one(self, *things: Any) -> Any:
        return self.random.choice(things)

    def person(self) -> Person | None:
        """Mostly somebody in care."""
        some = Person.objects.select_related("site", "merged_into")
        if not self.focus and self.maybe(0.85):
            some = some.filter(state="in_care", restricted_on=None)
        return self.pick(some)

    def by(self, person: Person | None = None, role: str = "staff") -> User:
        site = person.site_id if person is not None else self.sites[0].pk
        return self.random.choice(self.users[site][role])

    def day(self, back: int = 3) -> date:
        """Today, or now and then a few days ago."""
        return self.today - timedelta(days=self.random.randrange(back) if self.maybe(0.2) else 0)

    # --- meeting the charts ---------------------------------------------------------------------------------
    def meet(
        self,
        write: Callable[[], Any],
        *cells: Cell,
        of: Person | None = None,
        does: str = "care",
        after: dict[str, Callable[[], str | None]] | None = None,
        once: bool = False,
    ) -> Any:
        """Do it. It may succeed only where every cell allows it and leads to a state of its cell; refused, it
        has changed nothing. `once`: sent again it finds what was kept, and records nothing.
        """
        asked = [*cells, *([("person", person_state(of), does)] if of is not None else [])]
        answers = [(cell, CHARTS[cell[0]].answer(cell[1], cell[2])) for cell in asked]
        before = recorded()
        try:
            with transaction.atomic():
                made = write()
        except Refused as refused:
            for cell, answer in answers:
                if isinstance(answer, Refuses) and says(refused.message, answer.words):
                    REACHED[cell] += 1
            REFUSED[self.event] += 1
            SENTENCES[self.event, refused.message[:90]] += 1
            assert recorded() == before, f"{self.event}: refused, and something was recorded"
            return None
        for cell, answer in answers:
            assert isinstance(answer, Allows), f"{self.event} happened, and the chart refuses {cell}"
            if after is not None and cell[0] in after:
                state = after[cell[0]]()
                assert state in answer.to or (state is None and not answer.to), (
                    f"{self.event}: {cell} led to {state}, the chart says {answer.to}"
                )
            REACHED[cell] += 1
        assert once or recorded() > before, f"{self.event} left no row in the chain"
        DONE[self.event] += 1
        return made


def recorded() -> int:
    """How many rows stand in the chains."""
    return int(rows_of("SELECT COUNT(*) FROM clinic_auditevent")[0][0])


def says(message: str, words: str) -> bool:
    parts = [re.escape(part) for part in re.split(r"\{\w+\}", words)]
    return re.search(".*?".join(parts), message, re.DOTALL) is not None


def cells_of_run() -> tuple[set[Cell], set[Cell]]:
    """All cells, and those that were reached."""
    whole = {(chart.noun, *cell) for chart in CHARTS.values() for cell in chart.cells}
    return whole, {cell for cell in whole if REACHED[cell]}
