"""PostgreSQL's own tools, run with everything the address says, and a restore into a scratch schema."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from django.db import connection
from psycopg.conninfo import make_conninfo

__all__ = ["ToolFault", "dump", "fill", "fill_schema", "moved"]

#: Options that are the framework's and no word of PostgreSQL's client library.
FRAMEWORK = {"pool", "isolation_level", "server_side_binding", "assume_role", "options"}
HOME = "public"


class ToolFault(RuntimeError):
    """A tool of PostgreSQL failed; the sentence is the line that names the error, or else the last one."""


def conninfo(values: Mapping[str, Any]) -> str:
    """The address as one word for a tool: host, names, and how the connection is encrypted and checked."""
    parts = {
        "host": values["HOST"],
        "port": values["PORT"],
        "user": values["USER"],
        "dbname": values["NAME"],
        **{name: value for name, value in values.get("OPTIONS", {}).items() if name not in FRAMEWORK},
    }
    return make_conninfo("", **{name: value for name, value in parts.items() if value not in ("", None)})


def _run(*command: str, feed: Iterable[bytes] | None = None) -> None:
    """Run a tool; the password travels in its environment, never on its command line."""
    values = connection.settings_dict
    environment = {**os.environ, "PGPASSWORD": str(values["PASSWORD"] or "")}
    try:
        running = subprocess.Popen(  # noqa: S603  our own words
            command,
            env=environment,
            stdin=subprocess.DEVNULL if feed is None else subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
    except FileNotFoundError as fault:
        raise ToolFault(
            f"{command[0]} is not installed on this machine; install PostgreSQL's client programs"
        ) from fault
    if feed is not None and running.stdin is not None:
        try:
            for line in feed:
                running.stdin.write(line)
            running.stdin.close()
        except BrokenPipeError:
            pass  # it gave up; what it said comes below
        running.stdin = None
    _, message = running.communicate()
    if running.returncode:
        lines = message.decode(errors="replace").strip().splitlines() or ["no reason given"]
        reason = next((line for line in lines if "error:" in line.lower()), lines[-1])
        raise ToolFault(f"{command[0]} failed: {reason}")


def dump(target: Path) -> None:
    """The record's schema and no other: what a rehearsal left beside it belongs into no backup."""
    schema = _schema()
    if schema != HOME:
        raise ToolFault(f"the record lies in schema {schema}; a backup is made of schema {HOME} only")
    _run(
        "pg_dump",
        "-Fc",
        "-n",
        HOME,
        "--no-owner",
        "--no-privileges",
        "-f",
        str(target),
        conninfo(connection.settings_dict),
    )


def schema_of(source: Path) -> str:
    """The statements of a dump that make its tables, as text; nothing is run."""
    script = source.with_suffix(".schema.sql")
    _run("pg_restore", "--schema-only", "--no-owner", "--no-privileges", "-f", str(script), str(source))
    return script.read_text(errors="replace")


def _schema() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_schema()")
        return str(cursor.fetchone()[0])


def fill(source: Path) -> None:
    """Restore into the database the settings name; where its sessions work in another schema, into that."""
    schema = _schema()
    connection.close()
    if schema == HOME:
        address = conninfo(connection.settings_dict)
        # Its contents: the schema itself is there already, and an older archive may hold others beside it.
        once = ("--exit-on-error", "--single-transaction")
        _run("pg_restore", "--no-owner", "-n", HOME, *once, "-d", address, str(source))
    else:
        fill_schema(source, schema)


def fill_schema(source: Path, schema: str) -> None:
    """Restore what stood in the schema `public` into another one, in one transaction."""
    script = source.with_suffix(".sql")
    _run("pg_restore", "--no-owner", "-n", HOME, "-f", str(script), str(source))
    with script.open("rb") as lines:
        _run(
            "psql",
            "-X",
            "-q",
            "-v",
            "ON_ERROR_STOP=1",
            "--single-transaction",
            "-d",
            conninfo(connection.settings_dict),
            feed=moved(lines, schema),
        )


def moved(lines: Iterable[bytes], schema: str) -> Iterator[bytes]:
    """A dump's script with its tables in another schema.

    Only statements are changed. The rows between `COPY … FROM stdin;` and `\\.` are the record itself and
    pass as they are, whatever words they hold.
    """
    here, there = f"{HOME}.".encode(), f'"{schema}".'.encode()
    rows = False
    for line in lines:
        if rows:
            rows = line.rstrip(b"\r\n") != b"\\."
            yield line
            continue
        yield line.replace(here, there)
        rows = line.startswith(b"COPY ") and line.rstrip().endswith(b"FROM stdin;")
