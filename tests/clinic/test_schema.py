"""The schema that migrations make is the models' own, and an older database is refused in words."""

from __future__ import annotations

import os
import sqlite3

import psycopg
import pytest
from django.db import connection

from tests.migrated import migrate
from tests.security import killing

CREATED = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND type IN ('table', 'index')"


@pytest.mark.skipif(connection.vendor != "sqlite", reason="compares two SQLite files")
def test_migrating_makes_the_schema_that_the_models_ask_for(db, migrated):
    with connection.cursor() as cursor:
        cursor.execute(CREATED)
        asked = dict(cursor.fetchall())
    made = dict(sqlite3.connect(migrated).execute(CREATED))
    ours = {name for name in asked if name.startswith(("clinic_", "offload_"))}
    assert len(ours) > 60
    assert {name: made.get(name) for name in ours} == {name: asked[name] for name in ours}


#: Columns, indexes, constraints, triggers and functions of a database, each as one text under its name.
ON_POSTGRES = """
SELECT table_name || '.' || column_name, concat_ws(' ', data_type, character_maximum_length,
  numeric_precision,  numeric_scale, is_nullable, column_default, is_identity, is_generated)
FROM information_schema.columns WHERE table_schema = current_schema()
UNION ALL SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = current_schema()
UNION ALL SELECT conrelid::regclass || '.' || conname, pg_get_constraintdef(oid) FROM pg_constraint
  WHERE connamespace = current_schema()::regnamespace
UNION ALL SELECT tgrelid::regclass || '.' || tgname, pg_get_triggerdef(oid) FROM pg_trigger
  WHERE NOT tgisinternal AND pg_table_is_visible(tgrelid)
UNION ALL SELECT proname, pg_get_functiondef(oid) FROM pg_proc
  WHERE pronamespace = current_schema()::regnamespace
"""


@pytest.mark.postgres
def test_migrating_a_server_makes_the_schema_that_the_models_ask_for(append_only, tmp_path):
    with connection.cursor() as cursor:
        cursor.execute(ON_POSTGRES)
        asked = dict(cursor.fetchall())
    with killing.OwnPostgres(os.environ["DATABASE_URL"]) as own:
        place = killing.Place(tmp_path, own)
        assert place.manage("migrate", "-v0").returncode == 0
        with psycopg.connect(own) as server:
            made = dict(server.execute(ON_POSTGRES).fetchall())
    ours = {name for name in {*asked, *made} if name.startswith(("clinic_", "offload_"))}
    assert len(ours) > 1000
    assert {name: made.get(name) for name in ours} == {name: asked.get(name) for name in ours}


@pytest.mark.parametrize("first", ["0001_initial", "0001_schema", "0001_tables"])
def test_a_database_of_a_trial_version_is_refused_in_words_and_left_alone(tmp_path, migrated, first):
    file = tmp_path / "clinic.sqlite3"
    with sqlite3.connect(migrated) as made, sqlite3.connect(file) as old:
        made.backup(old)
        old.execute(
            "UPDATE django_migrations SET name = ? WHERE app = 'clinic' AND name = '0001_record'", [first]
        )
        before = list(old.iterdump())
    done = migrate(tmp_path)
    assert done.returncode == 1
    assert "made by a trial version" in done.stderr
    assert "make clean-demo" in done.stderr
    assert list(sqlite3.connect(file).iterdump()) == before
