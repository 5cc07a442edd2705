"""Whether a database in an archive holds the program's tables and triggers, and nothing that would act of its
own: asked before anything is loaded.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from django.apps import apps

from clinic.record import append_only

__all__ = ["postgres_faults", "sqlite_faults"]

#: Tables that the framework and the database keep beside those of the models.
BESIDE = {"django_migrations", "sqlite_sequence", "sqlite_stat1", "sqlite_stat4", "cache"}


def _tables() -> dict[str, set[str]]:
    return {
        model._meta.db_table: {str(field.column) for field in model._meta.local_concrete_fields}
        for model in apps.get_models(include_auto_created=True)
    }


def sqlite_faults(file: Path, *, same_schema: bool) -> Iterator[str]:
    """What stands in the file's schema and is not the program's.

    Parameters
    ----------
    file
        Database of an archive; it is opened for reading only, and no row of it is read.
    same_schema
        The archive is of this program's migrations, so that each table has this program's columns.
    """
    ours, triggers = _tables(), append_only.texts("sqlite")
    with closing(sqlite3.connect(f"file:{file}?mode=ro&immutable=1", uri=True)) as held:
        try:
            held.execute("PRAGMA trusted_schema = OFF")
            rows = held.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        except sqlite3.DatabaseError as fault:
            yield f"it is no database: {fault}"
            return
        for kind, name, table, text in rows:
            if kind == "trigger" and append_only.bare(text or "") != append_only.bare(triggers.get(name, "")):
                yield f"trigger {name} is not the program's"
            elif kind == "view":
                yield f"view {name} is not the program's"
            elif kind == "table":
                if name not in ours and name not in BESIDE:
                    yield f"table {name} is not the program's"
                elif re.match(r"CREATE\s+VIRTUAL", text or "", re.IGNORECASE):
                    yield f"table {name} is virtual"
                elif same_schema and name in ours:
                    columns = held.execute(f'PRAGMA table_xinfo("{name}")').fetchall()
                    if {row[1] for row in columns} != ours[name] or any(row[6] for row in columns):
                        yield f"table {name} has other columns than the program's"
            elif kind == "index" and table not in ours and table not in BESIDE:
                yield f"index {name} is not the program's"


#: What a dump of ours creates; anything else would act, or hide something.
_PLAIN = re.compile(r"CREATE (SEQUENCE|UNIQUE INDEX|INDEX)\b")
_CREATE = re.compile(r"^CREATE (?:OR REPLACE )?.*", re.MULTILINE)
_TABLE = re.compile(r'^CREATE TABLE (?:\w+\.)?"?(\w+)"? \(')
_FUNCTION = re.compile(r"CREATE (?:OR REPLACE )?FUNCTION (\S+?)\(.*?AS (\$\w*\$).*?\2[^;]*;", re.DOTALL)
#: A trigger switched off, rows hidden by a policy, a column that computes its own value.
_ACTING = re.compile(
    r"^ALTER TABLE .*\b(?:DISABLE|ENABLE|FORCE)\b.*|^.*\bGENERATED ALWAYS AS \(.*", re.MULTILINE
)


def postgres_faults(script: str) -> Iterator[str]:
    """What a dump's schema, as text, holds that is not the program's."""
    ours, triggers = _tables(), append_only.texts("postgresql")
    for whole in _FUNCTION.finditer(script):
        name = whole[1].rpartition(".")[2]
        if append_only.bare_function(whole[0]) != append_only.bare_function(append_only.FUNCTION_TEXT):
            yield f"function {name} is not the program's"
    outside = _FUNCTION.sub("", script)
    for line in _CREATE.findall(outside):
        table = _TABLE.match(line)
        if table is not None:
            if table[1] not in ours and table[1] not in BESIDE:
                yield f"table {table[1]} is not the program's"
        elif line.startswith("CREATE TRIGGER "):
            name = line.split()[2].strip('"')
            stated = append_only.bare(line.rstrip(";"))
            if stated != append_only.bare(triggers.get(name, "")):
                yield f"trigger {name} is not the program's"
        elif not _PLAIN.match(line) and not line.startswith("CREATE SCHEMA public"):
            yield f"“{line[:60]}” is not the program's"
    for line in _ACTING.findall(outside):
        yield f"“{line.strip()[:60]}” is not the program's"
