"""`python -m tests.clinic.month [people] [days] [seed]`: a month as large as one likes, its counts
printed.
"""

import os
import sys
import time

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings_test")
django.setup()


def main(people: int = 60, days: int = 30, seed: int = 2026) -> int:
    from django.db import connection

    from tests.clinic.month.play import Month

    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    began = time.perf_counter()
    figures = Month(people, seed).run(days)
    print(f"{people} people, {days} days, seed {seed}: {time.perf_counter() - began:.0f} s")
    print(figures.table())
    for line in (*figures.missing[:20], *figures.wrong[:20], *figures.twice[:20]):
        print("  !", line)
    return bool(figures.missing or figures.wrong or figures.twice)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
