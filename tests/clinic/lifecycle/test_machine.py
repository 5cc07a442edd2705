"""A short run of the machine, and every cell of the charts reached."""

import pytest
from hypothesis import Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from clinic.models import Visit

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


def test_a_write_that_nobody_saw_is_noticed_at_the_end_of_a_sequence(monkeypatch):
    """What is kept of the reads of Today is held against the rows."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: world.World.now)
    with coarse.plans():
        machine.prepare()
    w = machine.Case.base.again()
    machine.laws.hold(w, anew=True)
    Visit.objects.filter(next_on__isnull=False).update(next_on=w.today)
    with pytest.raises(AssertionError, match="a kept read is not what is read now"):
        machine.laws.hold(w, anew=True)


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
