"""Append-only held by the database itself: triggers that refuse to change or remove a kept row.

History copies, the audit chain and the log of reads may only grow. The one door is an erasure by law: history
copies may be removed while a permit row exists, and the erasure writes and removes that row in one
transaction. The chain and the batches have no door at all.

A migration that rebuilds one of these tables drops its triggers on SQLite: it must end with
`InstallTriggers()`. `verify_audit` and the system check name every missing one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.apps import apps as live_apps
from django.db.migrations.operations.base import Operation

__all__ = [
    "FUNCTION",
    "FUNCTION_TEXT",
    "InstallTriggers",
    "altered",
    "bare",
    "bare_function",
    "drop",
    "install",
    "missing",
    "texts",
]

#: Tables without any door.
SEALED = ("clinic_auditevent", "clinic_viewbatch", "clinic_viewevent", "clinic_erasure")
PERMIT = "clinic_erasurepermit"
FUNCTION = "clinic_append_only"


def _tables(apps: Any) -> Iterator[tuple[str, bool]]:
    """Each kept table, and whether an erasure may remove rows of it."""
    for table in SEALED:
        yield table, False
    for model in apps.get_app_config("clinic").get_models(include_auto_created=True):
        if model._meta.model_name.startswith("historical"):
            yield model._meta.db_table, True


def _name(table: str, action: str) -> str:
    return f"{table}_no_{action}"[:63]


def _create(vendor: str, table: str, action: str, door: bool) -> str:
    name = _name(table, action)
    message = f"{table} is append-only"
    # With a door, both are open during an erasure: a copy's author is nulled before the copy goes.
    if vendor == "sqlite":
        # Names of our own tables only.
        when = f"WHEN NOT EXISTS (SELECT 1 FROM {PERMIT})" if door else ""  # noqa: S608
        return (
            f'CREATE TRIGGER "{name}" BEFORE {action.upper()} ON "{table}" {when} '
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
    return (
        f'CREATE TRIGGER "{name}" BEFORE {action.upper()} ON "{table}" FOR EACH ROW '
        f"EXECUTE FUNCTION {FUNCTION}('{'door' if door else 'sealed'}')"
    )


FUNCTION_TEXT = f"""
CREATE OR REPLACE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_ARGV[0] = 'door' AND EXISTS (SELECT 1 FROM {PERMIT}) THEN
    IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
    RETURN NEW;
  END IF;
  RAISE EXCEPTION '% is append-only', TG_TABLE_NAME;
END $$
"""  # noqa: S608  names of our own tables


def _drop_sql(vendor: str, table: str, action: str) -> str:
    on = "" if vendor == "sqlite" else f' ON "{table}"'
    return f'DROP TRIGGER IF EXISTS "{_name(table, action)}"{on}'


def install(connection: Any, apps: Any = live_apps) -> None:
    """Put the triggers on every kept table; doing it again changes nothing."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(FUNCTION_TEXT)
        for table, door in _tables(apps):
            for action in ("update", "delete"):
                cursor.execute(_drop_sql(connection.vendor, table, action))
                cursor.execute(_create(connection.vendor, table, action, door))


def drop(connection: Any, apps: Any = live_apps) -> None:
    with connection.cursor() as cursor:
        for table, _ in _tables(apps):
            for action in ("update", "delete"):
                cursor.execute(_drop_sql(connection.vendor, table, action))


def missing(connection: Any) -> list[str]:
    """Triggers that should stand and do not, by name."""
    return sorted(set(texts(connection.vendor)) - set(_standing(connection)))


def texts(vendor: str) -> dict[str, str]:
    """Name -> text of every trigger of ours."""
    return {
        _name(table, action): _create(vendor, table, action, door)
        for table, door in _tables(live_apps)
        for action in ("update", "delete")
    }


#: Of the tables we read, not of a copy of them in another schema. A trigger that fires on a replica only, or
#: none at all where the session says it is one, does not stand.
_POSTGRES_TRIGGERS = """
SELECT tgname, pg_get_triggerdef(oid), tgfoid FROM pg_trigger
WHERE NOT tgisinternal AND pg_table_is_visible(tgrelid)
  AND (tgenabled = 'A' OR (tgenabled = 'O' AND current_setting('session_replication_role') <> 'replica'))
"""


def _standing(connection: Any) -> dict[str, str]:
    """Name -> text of the triggers that work in the database."""
    catalogue = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    with connection.cursor() as cursor:
        cursor.execute(catalogue if connection.vendor == "sqlite" else _POSTGRES_TRIGGERS)
        return {row[0]: row[1] for row in cursor.fetchall()}


def bare(text: str) -> str:
    """A trigger's text without what the server adds or leaves out: quotes, schema, spaces."""
    return re.sub(r"\s+", " ", re.sub(r"\b(ON|FUNCTION) \w+\.", r"\1 ", text.replace('"', ""))).strip()


def bare_function(text: str) -> str:
    """The text of a function likewise, whatever word its body is quoted by."""
    return bare(re.sub(r"\$\w*\$", "$$", text.replace("OR REPLACE ", "")).rstrip("; \n"))


def altered(connection: Any) -> list[str]:
    """Triggers whose text is not the program's, and any that the program does not know, by name."""
    wanted, standing = texts(connection.vendor), _standing(connection)
    found = [
        name for name, text in standing.items() if name not in wanted or bare(text) != bare(wanted[name])
    ]
    if connection.vendor == "postgresql":
        found += _altered_functions(connection)
    return sorted(found)


def _altered_functions(connection: Any) -> Iterator[str]:
    """The functions that the triggers call, whole, and rules: what they do not say, their triggers do not do.

    A function of the same name and body may stand in another schema, or look for the permit in one.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT pg_get_functiondef(tgfoid) FROM ({_POSTGRES_TRIGGERS}) AS t GROUP BY 1"  # noqa: S608
        )
        for (text,) in cursor.fetchall():
            if bare_function(text) != bare_function(FUNCTION_TEXT):
                yield text.partition("(")[0].split()[-1].rpartition(".")[2]
        cursor.execute("SELECT rulename FROM pg_rules WHERE schemaname = current_schema()")
        yield from (name for (name,) in cursor.fetchall())


class InstallTriggers(Operation):
    """Migration operation: the triggers of every kept table of the state it runs in."""

    reversible = True
    reduces_to_sql = False

    def state_forwards(self, app_label: str, state: Any) -> None:
        """Triggers are no part of the models."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        install(schema_editor.connection, to_state.apps)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        drop(schema_editor.connection, from_state.apps)

    def describe(self) -> str:
        return "Hold history, audit chain and read log append-only in the database"
