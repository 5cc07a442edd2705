"""Performance as ratios of two things measured in one run: `python -m tests.bench [PART …]`; without a
part, all.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
from importlib import import_module
from importlib.metadata import version
from itertools import chain
from pathlib import Path


def machine() -> str:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    names = ("django", "numpy", "scipy", "shapely", "matplotlib")
    libraries = ", ".join(f"{name} {version(name)}" for name in names)
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        models = [
            line.split(":", 1)[1].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line
        ]
        model = models[0] if models else model
    return f"{model}, {cores} cores; Python {platform.python_version()}, {libraries}, {database()}"


def database() -> str:
    from django.db import connection

    connection.ensure_connection()
    if connection.vendor == "postgresql":
        return f"PostgreSQL {connection.pg_version // 10000}"  # type: ignore[attr-defined]
    return "SQLite"


PARTS = ("relief", "healing", "charts", "network")


def main() -> None:
    asked = sys.argv[1:] or PARTS
    unknown = [part for part in asked if part not in PARTS]
    if unknown:
        sys.exit(f"No part {unknown[0]}; there are {', '.join(PARTS)}.")
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.config.settings_test"
        os.environ["PYTEST_DB"] = str(Path(folder, "bench.sqlite3"))
        # BENCH_DATABASE_URL=postgres://… runs the same rows there; the server makes a test database of its
        # own.
        unused = f"sqlite:///{Path(folder, 'unused.sqlite3')}"
        os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", unused)

        import django

        django.setup()
        from django.test.utils import setup_databases, teardown_databases

        # Without `setup_test_environment`: it makes every template copy its context for the tests to look at.
        databases = setup_databases(verbosity=0, interactive=False)
        try:
            from .rows import table

            found = []
            parts = [import_module(f"tests.bench.{part}") for part in PARTS if part in asked]
            for row in chain.from_iterable(part.rows() for part in parts):
                print(f"measured: {row.what}", file=sys.stderr)
                found.append(row)
            print(table(found, machine()))
        finally:
            teardown_databases(databases, verbosity=0)


if __name__ == "__main__":
    main()
