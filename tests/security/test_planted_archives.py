"""An archive that somebody else wrote, or a start that forgot its settings."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection, connections

from clinic.accounts.writes import backups, digests
from clinic.accounts.writes.archive_schema import postgres_faults
from clinic.accounts.writes.backups import ArchiveFault, backup, check, restore
from clinic.config.environment import Environment, signs_of_a_clinic
from clinic.record import append_only
from tests.security import killing
from tests.security.test_backups import (
    PASSPHRASE,
    database_of,
    members,
    rehashed,
    write,
)
from tests.security.test_backups import _folders as _folders
from tests.security.test_backups import archive as archive
from tests.test_repository import ROOT


def planted(statement):
    """Change the database of an archive by one statement, and hash everything anew."""

    def do(path):
        content = members(path)
        name = database_of(content)
        file = path.with_name("planted.sqlite3")
        file.write_bytes(content[name])
        with closing(sqlite3.connect(file)) as held:
            held.execute(statement)
            held.commit()
        content[name] = file.read_bytes()
        manifest = json.loads(content["manifest.json"])
        manifest["files"][name] = {
            "sha256": hashlib.sha256(content[name]).hexdigest(),
            "bytes": len(content[name]),
        }
        write(path, {**content, "manifest.json": rehashed(manifest)})

    return do


PLANTED = {
    "a trigger": "CREATE TRIGGER gift AFTER INSERT ON clinic_weight BEGIN SELECT 1; END",
    "one of our names that never fires": 'CREATE TRIGGER "clinic_auditevent_no_update" BEFORE UPDATE ON '
    "clinic_auditevent WHEN 0 BEGIN SELECT RAISE(ABORT, 'x'); END",
    "a view": "CREATE VIEW gift AS SELECT * FROM clinic_user",
    "a table": "CREATE TABLE gift (id INTEGER)",
}


@pytest.mark.skipif(connection.vendor != "sqlite", reason="statements of SQLite")
@pytest.mark.parametrize("what", PLANTED)
def test_an_archive_with_something_planted_in_its_schema_is_not_loaded(archive, what):
    check(archive)
    planted(PLANTED[what])(archive)
    with pytest.raises(ArchiveFault, match="is not the program's; nothing was loaded"):
        check(archive)


def test_a_dump_with_something_planted_in_its_schema_is_named():
    trigger = (
        append_only.texts("postgresql")["clinic_auditevent_no_update"]
        .replace('ON "', 'ON public."')
        .replace("FUNCTION clinic", "FUNCTION public.clinic")
    )
    function = append_only.FUNCTION_TEXT
    whole = f"CREATE TABLE public.clinic_weight (\n);\n{function.strip()};\n{trigger};\n"
    assert list(postgres_faults(whole)) == []
    for gift in (
        "CREATE TRIGGER gift AFTER INSERT ON public.clinic_weight FOR EACH ROW EXECUTE FUNCTION f();",
        "CREATE RULE gift AS ON INSERT TO public.clinic_weight DO INSTEAD NOTHING;",
        "CREATE EVENT TRIGGER gift ON ddl_command_end EXECUTE FUNCTION f();",
        "CREATE VIEW public.gift AS SELECT 1;",
        "CREATE EXTENSION plperlu;",
        "CREATE TABLE public.gift (\n);",
        "ALTER TABLE public.clinic_auditevent DISABLE TRIGGER clinic_auditevent_no_update;",
        "ALTER TABLE public.clinic_person ENABLE ROW LEVEL SECURITY;",
        "    kg numeric GENERATED ALWAYS AS (44) STORED",
        "CREATE FUNCTION public.f() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$;",
    ):
        assert len(list(postgres_faults(f"{whole}{gift}\n"))) == 1, gift
    assert list(
        postgres_faults(whole.replace("LANGUAGE plpgsql", "LANGUAGE plpgsql SET search_path TO 'gift'"))
    )
    assert list(postgres_faults(whole.replace("RAISE EXCEPTION", "RAISE NOTICE")))
    assert list(postgres_faults(whole.replace("FOR EACH ROW", "FOR EACH ROW WHEN (false)")))


CALLED = "CREATE FUNCTION gift() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"
FIRST = "DROP TRIGGER clinic_auditevent_no_update ON clinic_auditevent"
#: Statement, and the one that takes it away again.
PLANTED_ON_POSTGRES = {
    "a trigger": (
        f"{CALLED}; CREATE TRIGGER gift AFTER INSERT ON clinic_weight FOR EACH ROW EXECUTE FUNCTION gift()",
        "DROP FUNCTION gift() CASCADE",
    ),
    "one of our names that never fires": (
        f'{FIRST}; CREATE TRIGGER "clinic_auditevent_no_update" BEFORE UPDATE ON clinic_auditevent '
        "FOR EACH ROW WHEN (false) EXECUTE FUNCTION clinic_append_only('sealed')",
        f"{FIRST}; {append_only.texts('postgresql')['clinic_auditevent_no_update']}",
    ),
    "one that is switched off": (
        "ALTER TABLE clinic_auditevent DISABLE TRIGGER clinic_auditevent_no_update",
        "ALTER TABLE clinic_auditevent ENABLE TRIGGER clinic_auditevent_no_update",
    ),
    "a permit that is looked for elsewhere": (
        "ALTER FUNCTION clinic_append_only() SET search_path = gift",
        "ALTER FUNCTION clinic_append_only() RESET ALL",
    ),
    "a view": ("CREATE VIEW gift AS SELECT * FROM clinic_user", "DROP VIEW gift"),
    "a rule": (
        "CREATE RULE gift AS ON DELETE TO clinic_weight DO INSTEAD NOTHING",
        "DROP RULE gift ON clinic_weight",
    ),
    "a table": ("CREATE TABLE gift (id integer)", "DROP TABLE gift"),
}


@pytest.mark.postgres
def test_a_dump_of_a_server_with_something_planted_in_its_schema_is_not_loaded(tmp_path):
    """A whole archive of a migrated database, each gift dumped by the server; and a fill that breaks."""
    with killing.OwnPostgres(os.environ["DATABASE_URL"]) as own:
        place = killing.Place(tmp_path / "var", own)
        assert place.manage("migrate", "-v0").returncode == 0
        place.ask("prepare", "2")
        picture = place.folder / "media" / "photos" / "1.jpg"
        picture.parent.mkdir(parents=True)
        picture.write_bytes(b"a picture, so that the restore has pictures to fill")
        assert place.manage("backup", str(tmp_path / "whole.tar")).returncode == 0
        assert check(tmp_path / "whole.tar")["vendor"] == "postgresql"
        for what, (plant, undo) in PLANTED_ON_POSTGRES.items():
            with psycopg.connect(own, autocommit=True) as server:
                server.execute(plant)
            archive = tmp_path / f"{what}.tar"
            assert place.manage("backup", str(archive)).returncode == 0
            with pytest.raises(ArchiveFault, match="is not the program's; nothing was loaded"):
                check(archive)
            with psycopg.connect(own, autocommit=True) as server:
                server.execute(undo)
        assert place.manage("verify_audit").returncode == 0
    with killing.OwnPostgres(os.environ["DATABASE_URL"]) as own:
        place = killing.Place(tmp_path / "again", own)
        assert place.ask("breaking_restore", str(tmp_path / "whole.tar")) == "No space left on device"
        done = place.manage("restore", str(tmp_path / "whole.tar"))
        assert done.returncode == 0, done.stderr
        held = place.manage("verify_audit")
        assert held.returncode == 0, held.stdout


@pytest.mark.parametrize(
    "body", [b"[" * 100_000, b'{"files": {"a": 3}}', b'{"sha256": "x", "files": 7}', b"\xff"]
)
def test_a_manifest_that_is_none_is_refused_in_a_sentence(archive, body):
    write(archive, {**members(archive), "manifest.json": body})
    with pytest.raises(ArchiveFault, match="manifest.json"):
        check(archive)


def test_a_manifest_over_the_limit_is_not_read(archive, monkeypatch):
    monkeypatch.setattr(backups, "MANIFEST_BYTES", 100)
    with pytest.raises(ArchiveFault, match="at most 100 are read"):
        check(archive)


def test_in_production_nothing_in_the_clear_is_written_or_loaded(archive, settings, tmp_path):
    settings.PRODUCTION = True
    with pytest.raises(ArchiveFault, match="BACKUP_PASSPHRASE is not set"):
        backup(tmp_path / "p.tar")
    with pytest.raises(ArchiveFault, match="is not sealed"):
        check(archive)
    backup(tmp_path / "p.tar", passphrase=PASSPHRASE)
    check(tmp_path / "p.tar", passphrase=PASSPHRASE)


def test_what_is_written_is_its_owners_alone(archive, settings):
    assert archive.stat().st_mode & 0o777 == 0o600
    assert digests.path().stat().st_mode & 0o777 == 0o600
    name = default_storage.save("photos/ab/abc.jpg", ContentFile(b"picture"))
    file = Path(default_storage.path(name))
    assert [one.stat().st_mode & 0o777 for one in (file, file.parent)] == [0o600, 0o700]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="a file of SQLite")
def test_a_restore_that_breaks_leaves_the_place_empty(archive, settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "elsewhere"
    settings.DIGEST_DIR = tmp_path / "elsewhere-digests"
    name = tmp_path / "restored.sqlite3"
    monkeypatch.setitem(connection.settings_dict, "NAME", str(name))
    monkeypatch.setattr(backups, "_empty_place", lambda: None)
    monkeypatch.setattr(connections["default"], "close", lambda: None)

    def broken(source, target, **_):
        target.mkdir(parents=True)
        (target / "photos" / "00").mkdir(parents=True)
        shutil.copyfile(source / "photos" / "00" / "0.jpg", target / "photos" / "00" / "0.jpg")
        assert name.exists()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups.shutil, "copytree", broken)
    with pytest.raises(OSError, match="No space"):
        restore(archive)
    assert not name.exists()
    assert not [path for path in settings.MEDIA_ROOT.rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    "sign",
    [{"ALLOWED_HOSTS": "clinic.example.org"}, {"BEHIND_PROXY": "1"}, {"SIGN_ON_ISSUER": "https://x.example"}],
)
def test_a_start_that_looks_like_a_clinic_is_refused_without_production(sign):
    assert signs_of_a_clinic(Environment(sign)) == next(iter(sign))
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], "VAR_DIR": os.environ["VAR_DIR"], **sign},
        capture_output=True,
        text=True,
    )
    assert done.returncode != 0
    assert "Set PRODUCTION=1" in done.stderr
    assert signs_of_a_clinic(Environment({"ALLOWED_HOSTS": "127.0.0.1,localhost"})) == ""
