"""Write an invented network of clinics in bulk, to see how the program behaves at its size."""

from __future__ import annotations

import time
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.demo.network import Sizes, seed
from clinic.models import Person

BAR = 30


class Command(BaseCommand):
    help = (
        "Write N invented sites, people, lesions and measurements in bulk, the same from the same --seed. The rows "
        "carry no history and no chain rows of their own; one row a site in its chain says so. Refused in production "
        "and where people exist."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--sites", type=int, default=10)
        parser.add_argument("--people", type=int, default=5_000)
        parser.add_argument("--lesions", type=int, default=7_500)
        parser.add_argument("--measurements", type=int, default=100_000)
        parser.add_argument("--seed", type=int, default=7)
        parser.add_argument("--today", type=date.fromisoformat, default=None, help="last day of the data")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("an invented network is never written in production")
        if Person.objects.exists():
            raise CommandError("there are people in this database; the network needs an empty one")
        sizes = Sizes(*(options[name] for name in ("sites", "people", "lesions", "measurements")))
        if not 1 <= sizes.sites <= sizes.people <= sizes.lesions:
            raise CommandError("sites, people, lesions: each at least the one before, and at least 1")
        if sizes.lesions > 2 * sizes.people:
            raise CommandError(f"lesions: {sizes.lesions}, at most {2 * sizes.people} (two a person)")
        if not 6 * sizes.lesions <= sizes.measurements <= 24 * sizes.lesions:
            raise CommandError(f"measurements: {sizes.measurements}, allowed 6 to 24 a lesion")
        began = time.monotonic()

        def say(done: int, rows: int) -> None:
            spent = time.monotonic() - began
            full = BAR * done // sizes.sites
            left = spent / done * (sizes.sites - done)
            self.stderr.write(
                f"\r[{'#' * full}{'.' * (BAR - full)}] {done}/{sizes.sites} sites, {rows:,} rows, "
                f"{rows / spent:,.0f} rows/s, {left:.0f} s left ",
                ending="",
            )

        rows = seed(sizes, options["seed"], options["today"] or timezone.localdate(), say)
        spent = time.monotonic() - began
        self.stderr.write("")
        self.stdout.write(
            f"{sizes.sites:,} sites, {sizes.people:,} people, {sizes.lesions:,} lesions, {sizes.measurements:,} "
            f"measurements: {rows:,} rows in {spent:.1f} s, {rows / spent:,.0f} rows/s. Manager of all sites: "
            "network-manager (no password; set one with changepassword)."
        )
