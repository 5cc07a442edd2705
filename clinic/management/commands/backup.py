"""One archive of the record: database, pictures, digest file, manifest."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.accounts.writes.backups import ArchiveFault, backup


class Command(BaseCommand):
    help = "Write a backup; with BACKUP_PASSPHRASE in the environment it is sealed."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("target", nargs="?", help="file to write; by default in BACKUP_DIR")

    def handle(self, *args: Any, **options: Any) -> None:
        stamp = timezone.now().strftime("%Y%m%d-%H%M%S")
        target = Path(options["target"] or settings.BACKUP_DIR / f"clinic-{stamp}.tar")
        passphrase = settings.BACKUP_PASSPHRASE
        try:
            backup(target, passphrase=passphrase, say=self.stdout.write)
        except ArchiveFault as fault:
            raise CommandError(str(fault)) from fault
        if not passphrase:
            self.stdout.write(
                "It is not sealed: it holds the whole record in the clear. Store it accordingly."
            )
