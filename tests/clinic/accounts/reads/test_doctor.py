"""Each line of the doctor is made to fail once, its remedy is followed, and it is well again."""

from __future__ import annotations

import os
from ipaddress import ip_network
from types import SimpleNamespace

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.urls import reverse

from clinic.accounts.reads import machine
from clinic.accounts.reads.doctor import FAULT, LINES, WELL, examine
from clinic.record import append_only as triggers
from tests.clinic.accounts.reads.doctor_cases import CASES, OF_ONE_DATABASE, archive, drilled

KEY = "0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJKLMNOPQ"


def become_a_plain_role():
    """On a server: the owner of its tables and of nothing else, as an operator makes one. Until the test's
    transaction ends."""
    role = f"plain_{os.getpid()}"
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(f"CREATE ROLE {role}; GRANT ALL ON SCHEMA public TO {role}")
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'ALTER TABLE "{table}" OWNER TO {role}')
        cursor.execute(f"ALTER FUNCTION {triggers.FUNCTION}() OWNER TO {role}")
        cursor.execute(f"SET LOCAL ROLE {role}; SET CONSTRAINTS ALL DEFERRED")


@pytest.fixture
def well(db, site, manager, settings, tmp_path, monkeypatch, append_only):
    """A machine on which every line is well; the test breaks one thing of it."""
    if connection.vendor == "postgresql":
        become_a_plain_role()
    for name in ("VAR_DIR", "MEDIA_ROOT", "DIGEST_DIR", "BACKUP_DIR"):
        folder = tmp_path / name
        folder.mkdir(mode=0o700)
        setattr(settings, name, folder)
    settings.DIGEST_KEY_FILE = tmp_path / "VAR_DIR" / "digest-key"
    settings.DIGEST_KEY_FILE.write_text("5a" * 32)
    settings.DIGEST_KEY_FILE.chmod(0o600)
    devices = {settings.DIGEST_DIR: 2, settings.BACKUP_DIR: 3}
    monkeypatch.setattr(machine, "device", lambda folder: devices.get(folder, 1))
    monkeypatch.setattr(machine, "clock_is_set", lambda: True)
    monkeypatch.setattr(machine, "free_bytes", lambda folder: 10**11)
    monkeypatch.setattr(machine, "sqlite_fault", lambda path: REAL(tmp_path / "db.sqlite3"))
    (tmp_path / "db.sqlite3").write_text("")
    (tmp_path / "db.sqlite3").chmod(0o600)
    settings.STATIC_ROOT = tmp_path / "VAR_DIR" / "static"
    settings.STATIC_ROOT.mkdir()
    (settings.STATIC_ROOT / "staticfiles.json").write_text("{}")
    monkeypatch.delenv("DJANGO_ALLOW_ASYNC_UNSAFE", raising=False)
    settings.PRODUCTION = True
    settings.DEBUG = False
    settings.SECRET_KEY = KEY
    settings.BACKUP_PASSPHRASE = "seven purple lanterns"
    settings.BEHIND_PROXY = True
    settings.TRUSTED_PROXIES = [ip_network("127.0.0.1")]
    settings.SECURE_SSL_REDIRECT = settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
    settings.SECURE_HSTS_SECONDS = 31536000
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = settings.SECURE_HSTS_PRELOAD = True
    site.second_factor = True
    site.save()
    manager.second_factor = True
    manager.save()
    loader, recorder = MigrationLoader(connection, replace_migrations=False), MigrationRecorder(connection)
    if not recorder.has_table():
        # The framework's own way takes no open transaction on SQLite.
        with connection.cursor() as cursor:
            own = "integer" if connection.vendor == "sqlite" else "serial"
            cursor.execute(
                f"CREATE TABLE django_migrations (id {own} PRIMARY KEY, app varchar(255), "
                "name varchar(255), applied timestamp)"
            )
    for app, name in loader.disk_migrations:
        if (app, name) not in loader.applied_migrations:
            recorder.record_applied(app, name)
    call_command("digest_chain", verbosity=0)
    # Copying the live database waits for this test's own transaction: the archive is made by hand here, and
    # by the command in the rehearsal of the README.
    archive(settings.BACKUP_DIR / "clinic-1.tar")
    drilled(settings)
    return SimpleNamespace(site=site, manager=manager, settings=settings, patch=monkeypatch, tmp=tmp_path)


REAL = machine.sqlite_fault


def line_of(key):
    return next(line for line in examine() if line.key == key)


def test_every_line_has_a_case():
    assert {case.key for case in CASES} | OF_ONE_DATABASE == set(LINES)


def test_a_well_machine_has_no_fault(well):
    assert [line for line in examine() if line.level != WELL] == []
    call_command("doctor", stdout=open(os.devnull, "w"))  # noqa: SIM115


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.key)
def test_a_line_fails_and_its_remedy_makes_it_well(well, case):
    assert line_of(case.key).level == WELL
    case.fail(well)
    found = line_of(case.key)
    assert found.level == case.level, found
    assert case.remedy in found.remedy
    assert found.words.endswith(".") or case.key == "deployment"
    assert KEY not in found.words + found.remedy
    if case.level == FAULT and case.key != "triggers":
        with pytest.raises(CommandError, match="fault"):
            call_command("doctor", stdout=open(os.devnull, "w"))  # noqa: SIM115
    case.follow(well)
    assert line_of(case.key).level == WELL, line_of(case.key)


@pytest.mark.postgres
def test_a_role_that_may_too_much_or_too_little_is_found(well):
    assert line_of("database_rights").level == WELL
    for statement, remedy in (
        ("RESET ROLE; REVOKE CREATE ON SCHEMA public FROM {role}, public; SET LOCAL ROLE {role}", "OWNER TO"),
        ("RESET ROLE", "NOSUPERUSER"),
    ):
        with connection.cursor() as cursor:
            cursor.execute(statement.format(role=f"plain_{os.getpid()}"))
        found = line_of("database_rights")
        assert found.level == FAULT
        assert remedy in found.remedy


def test_an_open_database_file_is_found_and_mended(well):
    path = well.tmp / "db.sqlite3"
    path.chmod(0o644)
    words, remedy = REAL(path)
    assert str(path) in words
    assert remedy == f"Run: chmod 0600 {path}"
    path.chmod(0o600)
    assert REAL(path) == ("", "")


def test_a_database_that_does_not_answer_is_one_sentence(well):
    def broken(*_):
        raise OperationalError('connection to server at "127.0.0.1", port 5432 failed: refused\nmore')

    well.patch.setattr(triggers, "missing", broken)
    with pytest.raises(CommandError, match="the database cannot be asked: .*\n  → Start it"):
        call_command("doctor", stdout=open(os.devnull, "w"))  # noqa: SIM115


def test_managers_see_the_same_lines_and_no_secret(well, as_manager, settings):
    settings.SECURE_SSL_REDIRECT = False
    settings.BACKUP_PASSPHRASE = "tiny-secret"
    settings.SESSION_COOKIE_SECURE = False
    well.manager.second_factor = False
    well.manager.save()
    well.site.second_factor = False
    well.site.save()
    page = as_manager.get(reverse("doctor")).content.decode()
    from django.utils.html import escape

    for line in examine():
        assert escape(line.words) in page or line.key in ("backup", "drill", "digest")
        assert escape(line.remedy) in page
    assert settings.SECRET_KEY not in page
    assert "tiny-secret" not in page


@pytest.mark.parametrize("key", ["as_staff", "as_podiatrist"])
def test_nobody_else_sees_the_page(key, request, db):
    assert request.getfixturevalue(key).get(reverse("doctor")).status_code == 403
