"""The schema that migrations make is the models' own, and an older database is refused in words."""

from __future__ import annotations

import sqlite3

import pytest
from django.db import connection

from tests.migrated import migrate

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


def test_a_database_of_a_trial_version_is_refused_in_words_and_left_alone(tmp_path, migrated):
    file = tmp_path / "clinic.sqlite3"
    with sqlite3.connect(migrated) as made, sqlite3.connect(file) as old:
        made.backup(old)
        old.execute(
            "UPDATE django_migrations SET name = '0001_initial' WHERE app = 'clinic' AND name = '0001_schema'"
        )
        before = list(old.iterdump())
    done = migrate(tmp_path)
    assert done.returncode == 1
    assert "made by a trial version" in done.stderr
    assert "make clean-demo" in done.stderr
    assert list(sqlite3.connect(file).iterdump()) == before
