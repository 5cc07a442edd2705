"""Play the scenario day by day through the clinic's own writes, as the clinic's people would have worked."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from django.db import transaction

from clinic.accounts.passwords import DEMO_PASSWORD as PASSWORD
from clinic.audit.writes import peer
from clinic.models import PeerOpinion, Role, Site, User
from clinic.people.writes.people import person_register
from clinic.record.writes import audit

from .clock import at
from .scenario import PersonPlot, Scenario
from .story import Story

__all__ = ["PASSWORD", "open_site", "peer_round", "play", "play_people"]


@dataclass(frozen=True)
class Step:
    """One thing done on one day; steps run in the order of day, hour and person."""

    day: date
    hour: int
    order: int
    act: Callable[[], None]


def _users(scenario: Scenario, site: Site) -> list[User]:
    users = []
    for one in scenario.users:
        user = User.objects.create_user(password=PASSWORD, **one)
        user.sites.add(site)
        users.append(user)
    return users


def _by_role(users: Sequence[User], podiatrist: int = 0) -> dict[str, User]:
    """One user of each role, for a person whom this podiatrist sees."""
    podiatrists = [user for user in users if user.role == Role.PODIATRIST]
    others = {user.role: user for user in reversed(users)}
    return {**others, Role.PODIATRIST: podiatrists[podiatrist % len(podiatrists)]}


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
        yield Step(day, 16, order, lambda: story.leave(day))
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


def open_site(scenario: Scenario) -> Site:
    """The site with its users."""
    with transaction.atomic():
        site = Site.objects.create(**scenario.site)
        audit.record(by=None, site=site, verb="opened", target=site, also=_users(scenario, site))
    return site


def play_people(
    plots: Sequence[PersonPlot],
    site: Site,
    today: date,
    say: Callable[[str], None] = lambda words: None,
    first: int = 0,
) -> None:
    """The stories of some people at a site, up to a day. One transaction: all of it or nothing. `first` is
    the place of the first of them in the whole clinic, from which the hour of a visit follows.
    """
    users = list(User.objects.filter(sites=site).order_by("pk"))
    steps: list[Step] = []
    for order, plot in enumerate(plots, start=first):
        digest = hashlib.sha256(plot.number.encode()).digest()
        seed = Random(int.from_bytes(digest[:4], "big"))  # noqa: S311
        steps += _steps(order, plot, Story(plot, site, _by_role(users, plot.podiatrist), seed), today)
    steps.sort(key=lambda step: (step.day, step.hour, step.order))
    with transaction.atomic():
        for n, step in enumerate(steps):
            with at(step.day, step.hour):
                step.act()
            if n % 40 == 39:
                say(f"{n + 1} of {len(steps)} days played")


def play(scenario: Scenario, today: date, say: Callable[[str], None] = lambda words: None) -> Site:
    """Make the site, its users and its people's stories up to today. One transaction: all of it or
    nothing.
    """
    with transaction.atomic():
        site = open_site(scenario)
        play_people(scenario.people, site, today, say)
    return site


def peer_round(site: Site, today: date) -> None:
    """A reading round over the last year, read to its end by the podiatrists who did not sign."""
    users = list(User.objects.filter(sites=site).order_by("pk"))
    people = _by_role(users)
    rng = Random(site.short_name)  # noqa: S311
    with at(today, 16), transaction.atomic():
        drawn = peer.peer_draw(
            by=people[Role.MANAGER],
            site=site,
            seed=1,
            since=today - timedelta(days=365),
            until=today,
            size=12,
        )
        readers = [user for user in users if user.role == Role.PODIATRIST]
        for case in drawn.cases.select_related("prescription", "round__site"):
            others = [one for one in readers if one.pk != case.prescription.signed_by_id]
            for reader in others[: peer.READERS]:
                justified = rng.random() < 0.85
                peer.peer_read(
                    by=reader,
                    case=case,
                    opinion=PeerOpinion.SAME if justified else PeerOpinion.NOT_JUSTIFIED,
                    words="" if justified else "the reason does not say what was tried first",
                )
