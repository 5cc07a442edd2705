"""Each evening: tomorrow on paper, for the day on which the program cannot be reached."""

from __future__ import annotations

import os
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.models import Site
from clinic.week.prints import downtime_pdf
from clinic.week.reads.downtime import downtime_pack

#: Older packs are deleted: they hold a day of the record in the clear. A design choice.
DAYS_KEPT = 3


class Command(BaseCommand):
    help = (
        "Write each clinic's list, blank visit sheets with last values, opening cards and emergency page as "
        "one PDF; run it each evening and keep it on a machine that works without this one."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--day", help="the day it is for, such as 2026-11-30; without it tomorrow")
        parser.add_argument("--out", type=Path, help="folder to write into; without it VAR_DIR/downtime")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        try:
            day = (
                date.fromisoformat(options["day"]) if options["day"] else timezone.localdate() + timedelta(1)
            )
        except ValueError as fault:
            raise CommandError(f"day: “{options['day']}” is no date such as 2026-11-30") from fault
        out = options["out"] or settings.VAR_DIR / "downtime"
        out.mkdir(parents=True, exist_ok=True, mode=0o700)
        for site in Site.objects.order_by("pk"):
            pack = downtime_pack(site, day, now)
            path = out / f"downtime-{site.pk}-{day}.pdf"
            new = path.with_suffix(".new")
            new.unlink(missing_ok=True)
            # Born closed to others, and under its name only when it is whole.
            with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as write:
                write.write(downtime_pdf(pack))
            new.replace(path)
            self.stdout.write(
                f"{site.name}: {len(pack.expected)} expected, {len(pack.sealed)} non-removable devices, "
                f"{path}"
            )
        for old in out.glob("downtime-*-????-??-??.pdf"):
            if date.fromisoformat(old.stem[-10:]) < timezone.localdate() - timedelta(days=DAYS_KEPT):
                old.unlink()
