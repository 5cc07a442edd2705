"""Check what was written since yesterday, then write today's heads of the chains to the digest file."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.accounts.writes.digests import KeyFault, path, write
from clinic.accounts.writes.verification import verify_and_keep


class Command(BaseCommand):
    help = (
        "Check what was written since the last line, bind the reads into their batch and write the heads of "
        "all chains to the digest file; exit 1 if the check found a fault."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        _, found = verify_and_keep(full=False)
        for fault in found:
            self.stdout.write(fault.words)
        try:
            for line in write():
                self.stdout.write(line)
        except KeyFault as fault:
            raise CommandError(str(fault)) from fault
        self.stdout.write(f"Written to {path()}. Keep a copy where the database's keeper cannot write.")
        if found:
            raise CommandError(f"{len(found)} fault{'' if len(found) == 1 else 's'}", returncode=1)
