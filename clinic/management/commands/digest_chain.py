"""Write today's heads of the chains to the digest file. Run it daily."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from clinic.accounts.writes.digests import path, write


class Command(BaseCommand):
    help = "Bind the reads into their batch and write the heads of all chains to the digest file."

    def handle(self, *args: Any, **options: Any) -> None:
        for line in write():
            self.stdout.write(line)
        self.stdout.write(f"Written to {path()}. Keep a copy where the database's keeper cannot write.")
