"""Look whether the program can do its work here, and say what to do where it cannot."""

from __future__ import annotations

from itertools import chain
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection

from clinic.accounts.reads.doctor import FAULT, WELL, examine
from clinic.accounts.reads.reached import reached
from clinic.record import append_only


class Command(BaseCommand):
    help = (
        "Examine settings, database, clock, disk, mail, proxy, keys, backups; exit 1 if something is wrong."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--all", action="store_true", help="say what is well too")
        parser.add_argument("--url", default="", help="ask for the sign-in page there, as a browser would")
        parser.add_argument(
            "--put-triggers-back",
            action="store_true",
            help="install the triggers that keep rows from being altered, before looking",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        faults = well = 0
        try:
            if options["put_triggers_back"]:
                append_only.install(connection)
            lines = chain(examine(), [reached(options["url"])] if options["url"] else [])
            for line in lines:
                faults += line.level == FAULT
                well += line.level == WELL
                if line.level != WELL or options["all"]:
                    self.stdout.write(f"{line.level}: {line.words}")
                    if line.remedy:
                        self.stdout.write(f"  → {line.remedy}")
        except DatabaseError as fault:
            # Its first line names server and port; the password is in none.
            raise CommandError(
                f"the database cannot be asked: {str(fault).splitlines()[0]}\n"
                "  → Start it, look at DATABASE_URL, and run: manage.py migrate"
            ) from fault
        self.stdout.write(f"{well} lines are well.")
        if faults:
            raise CommandError(f"{faults} fault{'' if faults == 1 else 's'}", returncode=1)
