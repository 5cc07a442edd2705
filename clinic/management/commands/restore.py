"""Fill an empty place from a backup, or only check one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.accounts.writes.backups import ArchiveFault, check, restore
from clinic.accounts.writes.digests import erased_numbers
from clinic.models import Person


class Command(BaseCommand):
    help = "Restore a backup into the empty place the settings name; a damaged archive is refused."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("archive")
        parser.add_argument("--check-only", action="store_true", help="read and compare, write nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        passphrase = settings.BACKUP_PASSPHRASE
        archive = Path(options["archive"])
        try:
            if options["check_only"]:
                manifest = check(archive, passphrase=passphrase)
                self.stdout.write(f"{len(manifest['files'])} files, all as in the manifest")
                return
            restore(archive, passphrase=passphrase, say=self.stdout.write)
        except ArchiveFault as fault:
            raise CommandError(str(fault)) from fault
        call_command("migrate", verbosity=0)
        self.stdout.write("Checking the chains")
        call_command("verify_audit", stdout=self.stdout)
        back = list(Person.objects.filter(pk__in=erased_numbers()).values_list("pk", flat=True))
        if back:
            numbers = ", ".join(map(str, back))
            raise CommandError(
                f"records erased by law after this backup are back: person {numbers}. Erase them again "
                "before use."
            )
