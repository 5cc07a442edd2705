"""Write an invented network of clinics in bulk, to see how the program behaves at its size.

`DATABASE_URL=postgres://…/seeded python -m tests.bench.seed_network --sites 200 --people 100000 --lesions
150000 --measurements 2000000` on a migrated, empty database. The same from the same `--seed`; `--today` is
the last day of the data. The rows carry no history and no chain rows of their own; one row a site in its
chain says so.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .invented import Say, Sizes

BAR = 30


def seeded(sizes: Sizes, number: int, today: date, say: Say) -> int:
    """The number of rows written; ValueError in production, where people exist, and for sizes that do not
    fit.
    """
    from django.conf import settings

    from clinic.models import Person

    from .invented import seed

    if settings.PRODUCTION:
        raise ValueError("an invented network is never written in production")
    if Person.objects.exists():
        raise ValueError("there are people in this database; the network needs an empty one")
    if not 1 <= sizes.sites <= sizes.people <= sizes.lesions:
        raise ValueError("sites, people, lesions: each at least the one before, and at least 1")
    if sizes.lesions > 2 * sizes.people:
        raise ValueError(f"lesions: {sizes.lesions}, at most {2 * sizes.people} (two a person)")
    if not 6 * sizes.lesions <= sizes.measurements <= 24 * sizes.lesions:
        raise ValueError(f"measurements: {sizes.measurements}, allowed 6 to 24 a lesion")
    return seed(sizes, number, today, say)


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.seed_network", description=__doc__)
    parser.add_argument("--sites", type=int, default=10)
    parser.add_argument("--people", type=int, default=5_000)
    parser.add_argument("--lesions", type=int, default=7_500)
    parser.add_argument("--measurements", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--today", type=date.fromisoformat, default=None, help="last day of the data")
    asked = parser.parse_args(argv)

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings")
    import django

    django.setup()
    from django.utils import timezone

    from .invented import Sizes

    sizes = Sizes(asked.sites, asked.people, asked.lesions, asked.measurements)
    began = time.monotonic()

    def say(done: int, rows: int) -> None:
        spent = time.monotonic() - began
        full = BAR * done // sizes.sites
        left = spent / done * (sizes.sites - done)
        sys.stderr.write(
            f"\r[{'#' * full}{'.' * (BAR - full)}] {done}/{sizes.sites} sites, {rows:,} rows, "
            f"{rows / spent:,.0f} rows/s, {left:.0f} s left "
        )

    try:
        rows = seeded(sizes, asked.seed, asked.today or timezone.localdate(), say)
    except ValueError as fault:
        sys.exit(str(fault))
    spent = time.monotonic() - began
    print(
        f"\n{sizes.sites:,} sites, {sizes.people:,} people, {sizes.lesions:,} lesions, "
        f"{sizes.measurements:,} "
        f"measurements: {rows:,} rows in {spent:.1f} s, {rows / spent:,.0f} rows/s. Manager of all sites: "
        "network-manager (no password; set one with changepassword)."
    )


if __name__ == "__main__":
    main()
