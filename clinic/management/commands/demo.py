"""Load the invented clinic, and say how to sign in to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.demo.packed import PACK, unpack
from clinic.demo.play import PASSWORD, open_site, play_people
from clinic.demo.scenario import load
from clinic.models import Person, Site, User

SCENARIO = Path(settings.BASE_DIR) / "fixtures" / "clinic.toml"


class Command(BaseCommand):
    help = "Load the invented demonstration clinic (refused in production and where people exist)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--if-empty", action="store_true", help="do nothing where people exist already")
        parser.add_argument(
            "--show-logins", action="store_true", help="print the address and the logins at the end"
        )
        parser.add_argument("--port", default="8000")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("the demonstration clinic is never loaded in production")
        scenario = load(SCENARIO)
        if not Person.objects.exists():
            self.stdout.write("Loading the invented clinic (once, some seconds)")
            with transaction.atomic():
                # The past was hashed on SQLite, which keeps a minus zero in JSON; PostgreSQL does not.
                if PACK.exists() and connection.vendor == "sqlite":
                    self.stdout.write(f"{unpack(PACK)} rows of the two years before")
                site = Site.objects.first() or open_site(scenario)
                play_people(scenario.people, site, timezone.localdate(), say=self.stdout.write)
            digests.write()
            self.stdout.write(f"{Person.objects.count()} people")
        elif not options["if_empty"]:
            raise CommandError(
                "there are people in this database; the demonstration clinic needs an empty one"
            )
        if options["show_logins"]:
            self._logins(scenario.users, options["port"])

    def _logins(self, users: tuple[dict[str, str], ...], port: str) -> None:
        self.stdout.write(f"\nOpen http://127.0.0.1:{port}/ and sign in (everything in it is invented):\n")
        for user in users:
            if User.objects.filter(username=user["username"]).exists():
                self.stdout.write(f"  {user['role']:<11} {user['username']:<6} {PASSWORD}")
        self.stdout.write("\nStop with Ctrl-C. Not for real patients: see the README.\n")
