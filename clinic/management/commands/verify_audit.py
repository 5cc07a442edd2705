"""Check the record against what was written: chain, copies, rows, files, triggers, keys, digest file."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.accounts.writes.verification import verify_and_keep
from clinic.models import AuditEvent, Site


class Command(BaseCommand):
    help = (
        "Name every altered, missing or slipped-in row, copy, file and trigger, with the day and what stood "
        "before; exit 1 if there is one."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--daily",
            action="store_true",
            help="only what was written since the last line of the digest file",
        )
        parser.add_argument(
            "--without-values", action="store_true", help="places and days, no value of a person: for a log"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        kept, found = verify_and_keep(full=not options["daily"])
        for fault in found:
            self.stdout.write(fault.words if options["without_values"] else str(fault))
        if found:
            raise CommandError(f"{len(found)} fault{'' if len(found) == 1 else 's'}", returncode=1)
        for site in Site.objects.order_by("pk"):
            rows = AuditEvent.objects.filter(site_id=site.pk).count()
            self.stdout.write(f"{site.name}: the chain holds, {rows} rows")
