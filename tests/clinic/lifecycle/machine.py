"""The machine: random events in a random order, and the laws after each."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Any, ClassVar
from unittest.mock import patch

import hypothesis.strategies as st
from django.db import connection, transaction
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from . import devices, laws, people, scenes, ulcers, whole
from .tour import Tour
from .world import World

EVENTS = {event.__name__: event for event in (*people.EVENTS, *ulcers.EVENTS, *devices.EVENTS)}
#: One sequence in so many ends with everything read anew, and with the clinic's own check of the record.
VERIFIED = 5


def prepare() -> None:
    """The world in which every sequence begins: two clinics, and a case at each point of `scenes`."""
    with patch("django.utils.timezone.now", lambda: World.now):
        Case.base = World()
        for number, scene in enumerate(scenes.SCENES):
            scene(Tour(Case.base, 100 * number))
        laws.hold(Case.base, anew=True)


class Case(RuleBasedStateMachine):
    """One sequence; everything it wrote is rolled back at its end."""

    base: ClassVar[World]
    count: ClassVar[int] = 0

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.broken = False, True

    @initialize(n=st.integers(0, 2**16))
    def somebody(self, n: int) -> None:
        """Somebody new comes to the clinics as they were prepared."""
        self.begun = True
        Case.count += 1
        self.stack = ExitStack()
        self.stack.enter_context(patch("django.utils.timezone.now", lambda: World.now))
        self.stack.enter_context(transaction.atomic())
        self.world = self.base.again()
        self.stack.enter_context(connection.execute_wrapper(self.world.tables.watch))
        self._happens("register", n)

    def _happens(self, name: str, n: int) -> None:
        self.broken = True
        self.world.begin(name, n)
        EVENTS[name](self.world)
        self.broken = False

    @invariant()
    def the_laws_hold(self) -> None:
        self.broken = True
        laws.hold(self.world)
        self.broken = False

    def teardown(self) -> None:
        if not self.begun:
            return
        try:
            if not self.broken:
                verified = Case.count % VERIFIED == 1
                laws.hold(self.world, anew=verified)
                whole.at_the_end(self.world, whole=verified)
        finally:
            transaction.set_rollback(True)
            self.stack.close()
            people.LINKS.clear()
            connection.queries_log.clear()


def _as_rule(name: str) -> Any:
    def happens(self: Case, n: int) -> None:
        self._happens(name, n)

    happens.__name__ = name
    return rule(n=st.integers(0, 2**16))(happens)


for _name in EVENTS:
    setattr(Case, _name, _as_rule(_name))
