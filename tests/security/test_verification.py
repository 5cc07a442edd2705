# ruff: noqa: S608  names of our own tables
"""The check of the record names every change made past the program, and none that the program made."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from cryptography.fernet import Fernet
from django.db import IntegrityError, connection, transaction
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from clinic.accounts.writes import digests
from clinic.models import AuditEvent, Photo
from clinic.record.writes import audit
from tests.security import played

pytestmark = pytest.mark.django_db
#: These change rows by statements in SQLite's types and by its row numbers.
ON_SQLITE = pytest.mark.skipif(connection.vendor != "sqlite", reason="alters rows by SQLite's statements")


@pytest.fixture(autouse=True)
def _folders(settings, tmp_path):
    settings.DIGEST_DIR = tmp_path / "digests"
    settings.DIGEST_KEY_FILE = tmp_path / "keys" / "digest"
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path / "media"), "base_url": None},
        },
    }


def test_a_played_clinic_has_no_fault(append_only):
    played.play_clinic(3)
    assert [str(fault) for fault in played.faults()] == []
    assert [str(fault) for fault in played.faults(full=False)] == []


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


def named_after(change, *, full=True):
    """What the check says once something was changed past the program; the change is then taken back."""
    if connection.vendor == "sqlite":
        played.sql("PRAGMA ignore_check_constraints = ON")
    words = None
    try:
        with transaction.atomic():
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


@ON_SQLITE
def test_any_change_of_any_row_is_named_at_its_table_and_row():
    """Twenty-five changes drawn over every table, column and row; the draw is new each time."""
    played.play_clinic(4)
    tables = [t for t in followed() if played.one(f'SELECT COUNT(*) FROM "{t}"')]
    assert len(tables) > 30
    seen = set()

    @given(st.data())
    @settings(max_examples=25)
    def law(data):
        table = data.draw(st.sampled_from(tables), label="table")
        key = key_column(table)
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT "{key}" FROM "{table}" ORDER BY 1')
            keys = [number for (number,) in cursor.fetchall()]
        number = data.draw(st.sampled_from(keys), label="row")
        row = row_of(table, key, number)
        kinds = played.columns(table)
        options = sorted(
            c for c in row if c != key and (table, c) not in NOT_HASHED and c != "m2m_history_id"
        )
        column = data.draw(st.sampled_from([*options, "(the whole row)"]), label="column")
        if column == "(the whole row)":

            def change():
                played.sql(f'DELETE FROM "{table}" WHERE "{key}" = %s', number)
        else:
            value = played.another(row[column], kinds[column])

            def change():
                played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE "{key}" = %s', value, number)

        try:
            words = named_after(change)
        except IntegrityError:
            reject()  # the database itself refuses a second row of that kind
        where, what = place(table, number, row)
        if table == "clinic_auditevent" and column == "(the whole row)":
            what = f"of site {row['site_id']}"
        assert any(where in one and re.search(rf"{re.escape(what)}\b", one) for one in words), (
            where,
            what,
            words,
        )
        seen.add((table, column))

    law()
    assert len(seen) > 15
    assert without_triggers() == []


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
    ("a row of the chain altered", sets("clinic_auditevent", "actor", "Nobody"), "clinic_auditevent: row 1 "),
    ("two rows of the chain swapped", swap, "clinic_auditevent: row 4 "),
    ("a middle row of the chain deleted", removes("clinic_auditevent", "sequence = 6"), "row 6 of site"),
    ("the tail of the chain cut", cut_tail, "row"),
    ("chain and digest file written anew", rehash, "line 1 of heads.jsonl"),
    (
        "a person changed",
        sets("clinic_person", "given_name", "Other"),
        "clinic_person: row 1, column given_name",
    ),
    (
        "a measurement changed",
        sets("clinic_measurement", "length_mm", 1),
        "clinic_measurement: row 1, column length",
    ),
    ("a measurement deleted", removes("clinic_measurement"), "clinic_measurement: row 1 is gone"),
    ("a weight changed", sets("clinic_weight", "kg", 44), "clinic_weight: row 1, column kg"),
    ("a visit deleted", removes("clinic_visit"), "clinic_visit: row 1 is gone"),
    (
        "a telephone number changed",
        sets("clinic_site", "telephone_immediate_in_hours", "0"),
        "clinic_site: row ",
    ),
    ("a user made manager", sets("clinic_user", "role", "manager", "role = 'staff'"), "clinic_user: row "),
    ("a user's password replaced", sets("clinic_user", "password", "x"), "clinic_user: row "),
    ("a copy edited", sets("clinic_historicalweight", "kg", 44), "clinic_historicalweight: row 1"),
    ("a copy deleted", removes("clinic_historicalweight"), "clinic_historicalweight: row 1"),
    ("a copy deleted behind a permit", permit_and_delete, "clinic_historicalweight: row 1"),
    (
        "a permit left standing",
        lambda: played.sql("INSERT INTO clinic_erasurepermit (person_id) VALUES (7)"),
        "clinic_erasurepermit: row 7",
    ),
    ("a person's key deleted", removes("clinic_personkey"), "clinic_personkey: row 1 is gone without"),
    (
        "a person's key replaced",
        sets("clinic_personkey", "key", Fernet.generate_key().decode()),
        "clinic_personkey: row 1 does not open",
    ),
    ("a photograph overwritten", overwrite_photo, "clinic_photo: file of row 1 is not the one"),
    ("a plan's result emptied", sets("offload_reliefplan", "result", "{}"), "offload_reliefplan: row 1"),
    ("the digest file cut", lambda: cut_lines(1), "heads.jsonl has 1 lines; on"),
    ("the digest file and the tail gone", cut_tail_and_file, "clinic_user: row"),
    ("the whole chain and the file gone", delete_chain, "clinic_historicalweight: row 1"),
    (
        "a prescription changed",
        sets("clinic_prescription", "reason", "x"),
        "clinic_prescription: row 1, column",
    ),
]


@ON_SQLITE
def test_twenty_five_ways_to_change_the_record_are_each_named():
    played.play_clinic(4)
    text = digests.path().read_text()
    picture = Photo.objects.order_by("pk").first().file
    stored = Path(picture.path).read_bytes()
    missed = {}
    for name, change, words in CASES:
        found = named_after(change)
        digests.path().write_text(text)
        Path(picture.path).write_bytes(stored)
        if not any(words in one for one in found):
            missed[name] = found
    assert len(CASES) == 25
    assert missed == {}
    assert without_triggers() == []
