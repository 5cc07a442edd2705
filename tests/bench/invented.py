"""A whole invented network written in bulk, the same from the same seed: sites, people, lesions, visits,
devices.

How it is marked: its rows carry no history and no chain row each. The chain of every site begins with one
row, verb "seeded in bulk", that holds the seed and the counts; rows written through the program afterwards
follow it as usual.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from random import Random

from django.db import connection, transaction
from django.utils import timezone

from clinic.models import (
    Site,
    User,
)
from clinic.record.writes import audit
from clinic.rules.writes.house_rules import TELEPHONES

from .bulk import reset_sequences
from .invented_people import add_person
from .lives import life, measured
from .network_tables import Writer

__all__ = ["Sizes", "seed"]

Say = Callable[[int, int], None]


@dataclass(frozen=True)
class Sizes:
    sites: int
    people: int
    lesions: int
    measurements: int

    def of(self, site: int) -> tuple[int, int, int]:
        """People, lesions and measurements of one site; the sites add up to the whole exactly."""
        return (
            _part(self.people, self.sites, site),
            _part(self.lesions, self.sites, site),
            _part(self.measurements, self.sites, site),
        )


def _part(whole: int, parts: int, k: int) -> int:
    return whole // parts + (1 if k < whole % parts else 0)


def seed(sizes: Sizes, number: int, today: date, say: Say) -> int:
    """Write the network; returns the number of rows written. One transaction a site."""
    width, before = len(str(sizes.sites)), Site.objects.count()
    lead = _user("network-manager", "manager", "Network", "Manager")
    now = timezone.now()
    rows = 0
    for k in range(sizes.sites):
        place = before + k + 1
        with transaction.atomic():
            site = Site.objects.create(
                name=f"Invented clinic {place:0{width}d}",
                short_name=f"invented-{place:0{width}d}",
                second_factor=False,
                **{name: f"000 {n + 1}000" for n, name in enumerate(TELEPHONES)},
            )
            people = [
                _user(f"podiatrist-{place}-a", "podiatrist", "Podiatrist", f"A {place}"),
                _user(f"podiatrist-{place}-b", "podiatrist", "Podiatrist", f"B {place}"),
                _user(f"staff-{place}", "staff", "Staff", str(place)),
                _user(f"manager-{place}", "manager", "Manager", str(place)),
            ]
            site.members.set([*people, lead])
            writer = Writer(people[2], now)
            counts = sizes.of(k)
            rng = Random(f"{number}/{k}")  # noqa: S311  invented data, made again from its seed
            _site(writer, rng, site, people, counts, today)
            writer.flush()
            written = {bulk.model._meta.model_name: bulk.written for bulk in writer.order}
            rows += sum(written.values())
            reset_sequences([bulk.model for bulk in writer.order])
            audit.record(
                by=lead,
                site=site,
                verb="seeded in bulk",
                target=site,
                seed=number,
                rows=written,
                told="Invented network. These rows have no history and no chain rows of their own.",
            )
        say(k + 1, rows)
    with connection.cursor() as cursor:
        # Rows just copied in are not known to be visible to all: until then no index answers alone (measured:
        # half the time).
        alone = connection.vendor == "postgresql" and not connection.in_atomic_block
        cursor.execute("VACUUM ANALYZE" if alone else "ANALYZE")
    return rows


def _user(name: str, role: str, first: str, last: str) -> User:
    user, made = User.objects.get_or_create(
        username=name, defaults={"role": role, "first_name": first, "last_name": last}
    )
    if made:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user


def _site(
    w: Writer, rng: Random, site: Site, users: list[User], counts: tuple[int, int, int], today: date
) -> None:
    people, lesions, measurements = counts
    given = 0
    for n in range(people):
        own = _part(lesions, people, n)
        asked = [measured(given + i, lesions, measurements) for i in range(own)]
        given += own
        add_person(w, rng, site, users, n, life(rng, asked, today), today)
