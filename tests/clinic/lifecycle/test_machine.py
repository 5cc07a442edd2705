"""A short run of the machine, and every cell of the charts reached."""

import pytest
from hypothesis import Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from . import coarse, machine, world
from .tour import Tour

pytestmark = pytest.mark.django_db

SHORT = settings(
    max_examples=3,
    stateful_step_count=12,
    derandomize=True,
    database=None,
    phases=(Phase.generate,),
)


def test_the_machine_plays_cases_and_no_law_breaks():
    with coarse.plans():
        machine.prepare()
        run_state_machine_as_test(machine.Case, settings=SHORT)
    assert sum(world.DONE.values()) > 20


def test_every_cell_of_the_charts_is_reached(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: world.World.now)
    world.REACHED.clear()
    with coarse.plans():
        Tour(world.World()).go()
    whole, reached = world.cells_of_run()
    assert not sorted(whole - reached)


def test_the_machine_knows_forty_events_and_twenty_five_laws():
    assert len(machine.EVENTS) >= 40
    assert len(machine.laws.LAWS) >= 25
