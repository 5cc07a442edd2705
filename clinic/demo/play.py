"""Play the scenario day by day through the clinic's own writes, as the clinic's people would have worked."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from django.db import transaction

from clinic.accounts.passwords import DEMO_PASSWORD as PASSWORD
from clinic.models import Site, User
from clinic.people.writes.people import person_register
from clinic.record.writes import audit

from .clock import at
from .scenario import PersonPlot, Scenario
from .story import Story

__all__ = ["PASSWORD", "play"]


@dataclass(frozen=True)
class Step:
    """One thing done on one day; steps run in the order of day, hour and person."""

    day: date
    hour: int
    order: int
    act: Callable[[], None]


def _users(scenario: Scenario, site: Site) -> dict[str, User]:
    users = {}
    for one in scenario.users:
        user = User.objects.create_user(password=PASSWORD, **one)
        user.sites.add(site)
        users[one["role"]] = user
    return users


def _steps(order: int, plot: PersonPlot, story: Story, today: date) -> Iterator[Step]:
    start = today - timedelta(days=plot.last_days_ago + 7 * (plot.weeks - 1))
    yield Step(start, 8, order, lambda: story.register(start))
    for week in range(plot.weeks):
        day = start + timedelta(weeks=week)

        def act(week: int = week, day: date = day) -> None:
            story.week(week, day, last=week == plot.weeks - 1)

        yield Step(day, 9 + order % 7, order, act)
    if plot.weighed_weeks_ago > 1 and plot.kg is not None:
        day = today - timedelta(weeks=plot.weighed_weeks_ago)
        yield Step(day, 16, order, lambda: story.weigh(day))
    if plot.moved_days_ago is not None:
        day = today - timedelta(days=plot.moved_days_ago)
        yield Step(day, 16, order, lambda: story.move_away(day))
    if plot.again:
        day = today - timedelta(days=plot.again["days_ago"])
        yield Step(day, 16, order, lambda: _register_again(plot, story))
    if plot.look:
        last_day = today - timedelta(days=plot.last_days_ago)
        yield Step(last_day, 18, order, lambda: story.ask(plot.look))
    if plot.plan_draft:
        day = today - timedelta(days=plot.last_days_ago)
        yield Step(day, 17, order, lambda: story.plan(day, sign=False))


def _register_again(plot: PersonPlot, story: Story) -> None:
    """A colleague who did not find the record made another one, spelt as it was heard."""
    person_register(
        by=story.staff,
        site=story.site,
        given_name=plot.again.get("given", plot.given),
        family_name=plot.again["family"],
        record_number=plot.again["number"],
        birth_date=date.fromisoformat(plot.again["born"]),
        telephone=plot.telephone,
        allergies=plot.again.get("allergies", ""),
    )


def play(scenario: Scenario, today: date, say: Callable[[str], None] = lambda words: None) -> Site:
    """Make the site, its users and its people's stories up to today. One transaction: all of it or
    nothing.
    """
    with transaction.atomic():
        site = Site.objects.create(**scenario.site)
        users = _users(scenario, site)
        audit.record(by=None, site=site, verb="opened", target=site, also=users.values())
        steps: list[Step] = []
        for order, plot in enumerate(scenario.people):
            digest = hashlib.sha256(plot.number.encode()).digest()
            seed = Random(int.from_bytes(digest[:4], "big"))  # noqa: S311
            steps += _steps(order, plot, Story(plot, site, users, seed), today)
        steps.sort(key=lambda step: (step.day, step.hour, step.order))
        for n, step in enumerate(steps):
            with at(step.day, step.hour):
                step.act()
            if n % 40 == 39:
                say(f"{n + 1} of {len(steps)} days played")
    return site
