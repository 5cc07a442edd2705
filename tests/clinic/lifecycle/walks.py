"""Walking a world on purpose: an event until it has led somewhere, a branch that is rolled back."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

from django.db import transaction

from clinic.devices.states import device_state
from clinic.lifecycle.chart import Allows, Refuses
from clinic.lifecycle.charts import CHARTS
from clinic.models import (
    Lesion,
    Person,
    Prescription,
    Visit,
)
from clinic.record.errors import Refused
from offload.plans.refused import PlanRefused

from . import devices, people, ulcers
from .world import REACHED, Cell, World, says

Event = Callable[[World], Any]
TRIES = 8


class Walks:
    """One world, walked through branch by branch; each branch is rolled back."""

    def __init__(self, w: World, seed: int = 0) -> None:
        self.w = w
        self.seed = seed

    # --- walking --------------------------------------------------------------------------------------------
    def do(self, event: Event, **focus: Any) -> None:
        """One event about certain rows."""
        self.seed += 1
        self.w.begin(getattr(event, "__name__", "event"), self.seed)
        self.w.focus = {type(row): row.pk for row in focus.values()}
        try:
            event(self.w)
        finally:
            self.w.focus = {}

    def until(self, event: Event, reached: Callable[[], Any], **focus: Any) -> Any:
        """The same event with other choices until what is wanted has come."""
        for _ in range(40):
            if found := reached():
                return found
            self.do(event, **focus)
        raise AssertionError(f"{event.__name__} never led there")

    def try_all(self, events: Iterable[Event], cells: Iterable[tuple[str, str, str]], **focus: Any) -> None:
        """Every event here, each until its cell has answered, and then as if it had not happened."""
        for event, cell in zip(events, cells, strict=True):
            for _ in range(TRIES):
                if REACHED[cell]:
                    break
                with transaction.atomic():
                    self.do(event, **focus)
                    transaction.set_rollback(True)

    def branch(self, walk: Callable[[], None]) -> None:
        with transaction.atomic():
            walk()
            transaction.set_rollback(True)

    @staticmethod
    def door(cell: Cell, ask: Callable[[], Any]) -> None:
        """A cell asked at its door: where a write asks several at once, or no row leads to it."""
        answer, words = CHARTS[cell[0]].answer(cell[1], cell[2]), ""
        try:
            ask()
        except (Refused, PlanRefused) as refused:
            words = refused.message
        if isinstance(answer, Allows):
            others = [one for one in CHARTS[cell[0]].cells.values() if isinstance(one, Refuses)]
            assert not any(says(words, one.words) for one in others), words
        else:
            assert says(words, answer.words), words
        REACHED[cell] += 1

    # --- beginnings -----------------------------------------------------------------------------------------
    def somebody(self, at: int = 0) -> Person:
        site = self.w.sites[at]

        def there() -> Person | None:
            some = Person.objects.filter(site=site, state="in_care", weights__isnull=False)
            return some.select_related("site").order_by("-pk").first()

        before = there()

        def new() -> Person | None:
            found = there()
            return found if found is not None and found != before else None

        return self.until(people.register, new)

    def ulcer(self, person: Person) -> Lesion:
        left = Lesion.objects.filter(limb__person=person, limb__side="left", state="open")
        self.until(ulcers.new_ulcer, left.exists, person=person)
        return left.select_related("limb__person__site", "episode").order_by("-pk")[0]

    def examined(self, person: Person, one: Lesion) -> None:
        """Foot and ulcer looked at today, so that a device that stays on may be chosen."""
        limb = one.limb
        self.until(
            people.examine,
            lambda: limb.findings.filter(found_on=self.w.today, charcot="none").exists(),
            person=person,
        )
        self.visit(person)

    def visit(self, person: Person, covered: bool = False, days: int = 7) -> Visit:
        def look(w: World) -> None:
            w.focus = {}
            ulcers.visit(
                w,
                Person.objects.select_related("site", "merged_into").get(pk=person.pk),
                covered=covered,
                next_on=w.today + timedelta(days=days),
                red_flags=(),
                device_opened=True,
            )

        today = Visit.objects.filter(
            person=person, visited_on=self.w.today, attendance="came", state="stands"
        )
        return self.until(look, today.first)

    def device(self, one: Lesion, *states: str, kind: str = "walker_non_removable") -> Prescription:
        def there() -> Prescription | None:
            row = Prescription.objects.filter(limb=one.limb_id, stopped_on=None).first()
            fits = row is not None and row.device_class == kind and device_state(row) in states
            return Prescription.objects.select_related("limb__person__site").get(pk=row.pk) if fits else None

        return self.until(devices.prescribe, there, lesion=one)

    def _each(
        self, noun: str, events: dict[str, Event], state: Callable[[Any], str], row: Any, **more: Any
    ) -> None:
        row = type(row)._default_manager.get(pk=row.pk)
        cells = [(noun, state(row), event) for event in events]
        self.try_all(events.values(), cells, row=row, **more)
