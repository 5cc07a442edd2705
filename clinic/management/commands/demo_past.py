"""Play the invented clinic's past through the services and pack it; done anew when a table changes."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from clinic.demo.packed import PACK, pack
from clinic.demo.past import PEOPLE, UNTIL, past_plots
from clinic.demo.play import open_site, peer_round, play_people
from clinic.models import Person

from .demo import SCENARIO, load


class Command(BaseCommand):
    help = "Play the two years before the demonstration's present week in an empty database and pack them."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--people", type=int, default=PEOPLE)

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("the demonstration clinic is never played in production")
        if Person.objects.exists():
            raise CommandError("there are people in this database; the past needs an empty one")
        site = open_site(load(SCENARIO))
        play_people(past_plots(people=options["people"]), site, UNTIL, say=self.stdout.write)
        peer_round(site, UNTIL)
        rows = pack(PACK, UNTIL)
        self.stdout.write(f"{rows} rows, {PACK.stat().st_size / 1e6:.1f} MB: {PACK.name}")
