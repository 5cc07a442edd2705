# ruff: noqa: S608  names of our own tables
"""Changes past the program, by each database's own statements, and what the check says of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from cryptography.fernet import Fernet
from django.conf import settings
from django.db import connection, transaction

from clinic.accounts.writes import digests
from clinic.models import AuditEvent, Photo
from clinic.record.writes import audit
from tests.security import played


def folders(place):
    """Settings under which a played clinic keeps its files in a place of its own."""
    return {
        "DIGEST_DIR": place / "digests",
        "DIGEST_KEY_FILE": place / "keys" / "digest",
        "MEDIA_ROOT": place / "media",
        "STORAGES": {
            **settings.STORAGES,
            "default": {
                "BACKEND": "django.core.files.storage.FileSystemStorage",
                "OPTIONS": {"location": str(place / "media"), "base_url": None},
            },
        },
    }


#: Tables that the check does not follow, and why; every other table of ours is in the sweep below.
NOT_FOLLOWED = {
    "clinic_accountlink": "hashed as a part of its account",
    "clinic_problem": "no part of the record: a page and a kind",
    "clinic_signin": "which browsers are signed in, gone within a day",
    "clinic_verification": "what an earlier check found; the check can be run again",
    "clinic_user_groups": "groups decide nothing here",
    "clinic_user_user_permissions": "permissions decide nothing here",
    "clinic_erasurepermit": "empty: a row is itself a fault",
}
#: Columns that may change without a change of the record: numbers of storage, the time of a sign-in.
NOT_HASHED = {("clinic_user", "last_login"), ("clinic_auditevent", "id"), ("clinic_viewbatch", "id")}


def followed():
    with connection.cursor() as cursor:
        names = connection.introspection.table_names(cursor)
    return sorted(n for n in names if n.startswith(("clinic_", "offload_")) and n not in NOT_FOLLOWED)


def place(table, key, row):
    """How the check names a row: its table, and the number by which it is known."""
    if table == "clinic_auditevent":
        return table, f"row {row['sequence']} of site {row['site_id']}"
    if table in ("clinic_viewevent", "clinic_viewbatch"):
        return "clinic_view", f"of site {row['site_id']}"
    if table == "clinic_user_sites":
        return "clinic_user", f"row {row['user_id']}"
    if "history_id" in row and "m2m_history_id" in row:
        return table.rpartition("_")[0], f"row {row['history_id']}"
    if "_lesions" in table and "historical" not in table:
        owner = table.removesuffix("_lesions")
        return table, f"{owner} row {row[owner.removeprefix('clinic_') + '_id']}"
    return table, f"row {key}"


def key_column(table):
    with connection.cursor() as cursor:
        return connection.introspection.get_primary_key_column(cursor, table)


def row_of(table, column, key):
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}" WHERE "{column}" = %s', [key])
        return dict(zip([d[0] for d in cursor.description], cursor.fetchone(), strict=True))


def without_triggers(*, full=True):
    """What the check says, but of the triggers: tests stand without them, so that they can tamper."""
    return [fault.words for fault in played.faults(full=full) if not fault.words.startswith("trigger ")]


class Undo(Exception):
    pass


def drop_check_constraints():
    """As whoever owns the tables can; taken back with the transaction."""
    # Tables with rows whose links are still to be checked cannot be changed.
    played.sql("SET CONSTRAINTS ALL IMMEDIATE")
    drops = played.one(
        "SELECT string_agg(format('ALTER TABLE %%I DROP CONSTRAINT %%I', relname, conname), '; ') "
        "FROM pg_constraint JOIN pg_class ON pg_class.oid = conrelid "
        "WHERE contype = 'c' AND pg_table_is_visible(conrelid)"
    )
    if drops:
        played.sql(drops)
    played.sql("SET CONSTRAINTS ALL DEFERRED")


def named_after(change, *, full=True):
    """What the check says once something was changed past the program; the change is then taken back."""
    if connection.vendor == "sqlite":
        played.sql("PRAGMA ignore_check_constraints = ON")
    words: list[str] = []
    try:
        with transaction.atomic():
            if connection.vendor == "postgresql":
                drop_check_constraints()
            change()
            words = without_triggers(full=full)
            raise Undo
    except Undo:
        pass
    finally:
        if connection.vendor == "sqlite":
            # Of the connection, which the next test has too.
            played.sql("PRAGMA ignore_check_constraints = OFF")
    return words


def _first(table, where):
    key = key_column(table)
    return f'"{key}" = (SELECT MIN("{key}") FROM "{table}" WHERE {where})'


def sets(table, column, value, where="1 = 1"):
    return lambda: played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE {_first(table, where)}', value)


def removes(table, where="1 = 1"):
    return lambda: played.sql(f'DELETE FROM "{table}" WHERE {_first(table, where)}')


class Case(NamedTuple):
    """One change, and what the check must say; `{first}` is the lowest number of the table named first."""

    name: str
    change: Callable[[], object]
    words: str

    def expected(self):
        table, said, _ = self.words.partition(": ")
        if not said or "{first}" not in self.words:
            return self.words
        return self.words.format(first=played.one(f'SELECT MIN("{key_column(table)}") FROM "{table}"'))


def delete_chain():
    for table in ("clinic_auditevent", "clinic_viewbatch", "clinic_viewevent"):
        played.sql(f"DELETE FROM {table}")
    digests.path().unlink()


def rehash():
    """Change a row of the chain, and write every digest after it and the whole digest file anew."""
    played.sql("UPDATE clinic_auditevent SET actor = 'Nobody' WHERE sequence = 3")
    previous = ""
    for event in AuditEvent.objects.order_by("sequence"):
        event.previous_digest, event.digest = previous, ""
        previous = event.digest = audit.digest_of(event)
        event.save()
    lines, bound = [json.loads(text) for text in digests.path().read_text().splitlines()], ""
    for line in lines:
        line.pop("line")
        line["digest"] = AuditEvent.objects.get(sequence=line["rows"]).digest
        bound = line["line"] = digests._bound(line, bound, b"another key" * 3)
    digests.path().write_text("".join(json.dumps(line, sort_keys=True) + "\n" for line in lines))


def cut_lines(keep):
    text = digests.path().read_text().splitlines(keepends=True)
    digests.path().write_text("".join(text[:keep]))


def overwrite_photo():
    file = Photo.objects.order_by("pk").first().file
    Path(file.path).write_bytes(Path(file.path).read_bytes() + b"x")


def cut_tail():
    played.sql(
        "DELETE FROM clinic_auditevent WHERE sequence > (SELECT MAX(sequence) - 3 FROM clinic_auditevent)"
    )


def cut_tail_and_file():
    cut_tail()
    digests.path().unlink()


def permit_and_delete():
    played.sql("INSERT INTO clinic_erasurepermit (person_id) VALUES (1)")
    removes("clinic_historicalweight")()
    played.sql("DELETE FROM clinic_erasurepermit")


def swap():
    a, b = AuditEvent.objects.get(sequence=4), AuditEvent.objects.get(sequence=5)
    played.sql("UPDATE clinic_auditevent SET sequence = 99999 WHERE id = %s", a.pk)
    played.sql("UPDATE clinic_auditevent SET sequence = 4 WHERE id = %s", b.pk)
    played.sql("UPDATE clinic_auditevent SET sequence = 5 WHERE id = %s", a.pk)


#: Twenty-five ways to change the record past the program: name, change, words the check must say.
CASES = [
    Case(
        "a row of the chain altered",
        sets("clinic_auditevent", "actor", "Nobody"),
        "clinic_auditevent: row 1 ",
    ),
    Case("two rows of the chain swapped", swap, "clinic_auditevent: row 4 "),
    Case("a middle row of the chain deleted", removes("clinic_auditevent", "sequence = 6"), "row 6 of site"),
    Case("the tail of the chain cut", cut_tail, "are cut off: they stood on"),
    Case("chain and digest file written anew", rehash, "line 1 of heads.jsonl"),
    Case(
        "a person changed",
        sets("clinic_person", "given_name", "Other"),
        "clinic_person: row {first}, column given_name",
    ),
    Case(
        "a measurement changed",
        sets("clinic_measurement", "length_mm", 1),
        "clinic_measurement: row {first}, column length_mm",
    ),
    Case("a measurement deleted", removes("clinic_measurement"), "clinic_measurement: row {first} is gone"),
    Case("a weight changed", sets("clinic_weight", "kg", 44), "clinic_weight: row {first}, column kg"),
    Case("a visit deleted", removes("clinic_visit"), "clinic_visit: row {first} is gone"),
    Case(
        "a telephone number changed",
        sets("clinic_site", "telephone_immediate_in_hours", "0"),
        "clinic_site: row ",
    ),
    Case(
        "a user made manager", sets("clinic_user", "role", "manager", "role = 'staff'"), "clinic_user: row "
    ),
    Case("a user's password replaced", sets("clinic_user", "password", "x"), "clinic_user: row "),
    Case("a copy edited", sets("clinic_historicalweight", "kg", 44), "clinic_historicalweight: row {first}"),
    Case("a copy deleted", removes("clinic_historicalweight"), "clinic_historicalweight: row {first}"),
    Case("a copy deleted behind a permit", permit_and_delete, "clinic_historicalweight: row {first}"),
    Case(
        "a permit left standing",
        lambda: played.sql("INSERT INTO clinic_erasurepermit (person_id) VALUES (7)"),
        "clinic_erasurepermit: row 7",
    ),
    Case(
        "a person's key deleted", removes("clinic_personkey"), "clinic_personkey: row {first} is gone without"
    ),
    Case(
        "a person's key replaced",
        sets("clinic_personkey", "key", Fernet.generate_key().decode()),
        "clinic_personkey: row {first} does not open",
    ),
    Case("a photograph overwritten", overwrite_photo, "clinic_photo: file of row {first} is not the one"),
    Case(
        "a plan's result emptied",
        sets("offload_reliefplan", "result", "{}"),
        "offload_reliefplan: row {first}",
    ),
    Case("the digest file cut", lambda: cut_lines(1), "heads.jsonl has 1 lines; on"),
    Case("the digest file and the tail gone", cut_tail_and_file, "clinic_user: row"),
    Case("the whole chain and the file gone", delete_chain, "clinic_historicalweight: row {first}"),
    Case(
        "a prescription changed",
        sets("clinic_prescription", "reason", "x"),
        "clinic_prescription: row {first}, column",
    ),
]


#: Table and column -> a value of no kind the program writes, as each database takes it.
UNREADABLE_VALUES = {
    ("clinic_visit", "visited_on"): {"sqlite": "no day", "postgresql": "infinity"},
    ("clinic_historicalvisit", "visited_on"): {"sqlite": "no day", "postgresql": "-infinity"},
    ("clinic_weight", "kg"): {"sqlite": "heavy", "postgresql": "NaN"},
    ("clinic_auditevent", "at"): {"sqlite": "no time", "postgresql": "infinity"},
    ("clinic_viewevent", "at"): {"sqlite": "no time", "postgresql": "infinity"},
    ("clinic_user", "date_joined"): {"sqlite": "no time", "postgresql": "infinity"},
    ("clinic_measurement", "outline_mm"): {"sqlite": "[[", "postgresql": "[[1e999, 0]]"},
}
