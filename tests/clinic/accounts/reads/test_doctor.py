"""Each line of the doctor is made to fail once, its remedy is followed, and it is well again."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from ipaddress import ip_network
from types import SimpleNamespace

import pytest
from django.conf import settings as live
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.reads import doctor, machine
from clinic.accounts.reads.doctor import ADVICE, FAULT, LINES, WELL, examine
from clinic.accounts.reads.reached import reached
from clinic.accounts.writes.settings_page import second_factor_rule
from clinic.record import append_only as triggers
from tests import factories

KEY = "0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJKLMNOPQ"


@pytest.fixture
def well(db, site, manager, settings, tmp_path, monkeypatch, append_only):
    """A machine on which every line is well; the test breaks one thing of it."""
    for name in ("VAR_DIR", "MEDIA_ROOT", "DIGEST_DIR", "BACKUP_DIR"):
        folder = tmp_path / name
        folder.mkdir(mode=0o700)
        setattr(settings, name, folder)
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


def archive(path, seal=True):
    from clinic.accounts.sealed_files import seal as seal_file

    plain = path.with_suffix(".plain")
    plain.write_bytes(b"an archive")
    if seal:
        seal_file(plain, path, live.BACKUP_PASSPHRASE or "x")
        plain.unlink()
    else:
        plain.rename(path)


def drilled(settings, passed=True, days=0):
    at = (timezone.now() - timedelta(days=days)).isoformat(timespec="seconds")
    with (settings.VAR_DIR / "drills.jsonl").open("a") as out:
        out.write(json.dumps({"at": at, "passed": passed}) + "\n")


def age(path, **back):
    then = (timezone.now() - timedelta(**back)).timestamp()
    os.utime(path, (then, then))


@dataclass(frozen=True)
class Case:
    """How a line is made to fail, how its remedy is followed, and a word of the remedy that says so."""

    key: str
    fail: Callable
    remedy: str
    follow: Callable
    level: str = FAULT


def told(**values):
    def change(well):
        for name, value in values.items():
            setattr(well.settings, name, value)

    return change


def _drop_trigger(well):
    with connection.cursor() as cursor:
        on = "" if connection.vendor == "sqlite" else " ON clinic_auditevent"
        cursor.execute(f"DROP TRIGGER clinic_auditevent_no_update{on}")


def _forget_migration(well):
    # The last one: nothing that is marked as done depends on it.
    (last,) = MigrationLoader(connection).graph.leaf_nodes("clinic")
    MigrationRecorder(connection).record_unapplied(*last)


def _row_of_the_future(well):
    factories.person(at=well.site)
    now = timezone.now()
    well.patch.setattr(doctor.timezone, "now", lambda: now - timedelta(hours=1))
    from clinic.record.writes import audit

    well.real_now = now
    audit.record(by=well.manager, site=well.site, verb="opened", target=well.site)
    well.patch.setattr(doctor.timezone, "now", lambda: now - timedelta(hours=2))


def _old_digest(well):
    path = well.settings.DIGEST_DIR / "heads.jsonl"
    line = json.loads(path.read_text().splitlines()[-1])
    line["at"] = (timezone.now() - timedelta(days=2)).isoformat()
    path.write_text(json.dumps(line) + "\n")


def _open_backup(well):
    (well.settings.BACKUP_DIR / "clinic-1.tar").unlink()
    archive(well.settings.BACKUP_DIR / "clinic-2.tar", seal=False)


def _seal_anew(well):
    (well.settings.BACKUP_DIR / "clinic-2.tar").unlink()
    archive(well.settings.BACKUP_DIR / "clinic-3.tar")


def _enrol_and_ask(well):
    second_factor_rule(by=well.manager, site=well.site, asked=True)


def _not_asked(well):
    well.site.second_factor = False
    well.site.save()


def _without_own(well):
    well.other = factories.user("podiatrist", at=well.site)


def _stop(well):
    well.other.is_active = False
    well.other.save()


def _hospital_only(well):
    well.settings.SIGN_ON_ISSUER = "https://hospital.example.org"
    well.manager.sign_on_subject = "https://hospital.example.org 1"
    well.manager.save()


def _local_manager(well):
    factories.user("manager", at=well.site, second_factor=True, password="correct horse battery")


def _lock(well, pin):
    folder = well.tmp / "program" / "requirements"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "base.txt").write_text(f"{pin} \\\n    --hash=sha256:00\n")
    well.settings.BASE_DIR = well.tmp / "program"


def _django_is_other(well):
    _lock(well, "django==1.0")


def _django_is_right(well):
    import django

    _lock(well, f"django=={django.__version__}")


def _collect(well):
    well.settings.STORAGES = {
        **well.settings.STORAGES,
        "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
    }
    call_command("collectstatic", interactive=False, verbosity=0)


def _refused_mail(well):
    well.settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    well.settings.EMAIL_HOST, well.settings.EMAIL_PORT = "127.0.0.1", 1


MAIL_BACK = told(EMAIL_BACKEND="django.core.mail.backends.locmem.EmailBackend")
SMTP_OFF = told(EMAIL_BACKEND="django.core.mail.backends.dummy.EmailBackend")

CASES = [
    Case("production", told(PRODUCTION=False), "PRODUCTION=1", told(PRODUCTION=True)),
    Case("production", told(DEBUG=True), "DEBUG=0", told(DEBUG=False)),
    Case("deployment", told(SECURE_HSTS_SECONDS=0), "", told(SECURE_HSTS_SECONDS=31536000)),
    Case("secret_key", told(SECRET_KEY="short"), "SECRET_KEY", told(SECRET_KEY=KEY)),
    Case("secret_key", told(SECRET_KEY="ab" * 40), "random letters", told(SECRET_KEY=KEY)),
    Case("passphrase", told(BACKUP_PASSPHRASE=""), "long random", told(BACKUP_PASSPHRASE="p" * 30)),
    Case("passphrase", told(BACKUP_PASSPHRASE=KEY), "long random", told(BACKUP_PASSPHRASE="p" * 30)),
    Case(
        "migrations",
        _forget_migration,
        "manage.py migrate",
        # The tables stand already in a test: only the mark is missing.
        lambda well: call_command("migrate", "clinic", fake=True, verbosity=0),
    ),
    Case(
        "triggers",
        _drop_trigger,
        "doctor --put-triggers-back",
        lambda well: call_command("doctor", "--put-triggers-back", stdout=open(os.devnull, "w")),  # noqa: SIM115
    ),
    Case(
        "clock",
        _row_of_the_future,
        "timedatectl set-ntp true",
        lambda well: well.patch.setattr(doctor.timezone, "now", lambda: well.real_now + timedelta(seconds=9)),
    ),
    Case(
        "clock",
        lambda well: well.patch.setattr(machine, "clock_is_set", lambda: False),
        "set-ntp true",
        lambda well: well.patch.setattr(machine, "clock_is_set", lambda: True),
    ),
    Case(
        "room",
        lambda well: well.patch.setattr(machine, "free_bytes", lambda folder: 5 * 10**8),
        "larger disk",
        lambda well: well.patch.setattr(machine, "free_bytes", lambda folder: 5 * 10**9),
    ),
    Case(
        "room",
        lambda well: well.patch.setattr(machine, "writable", lambda folder: False),
        "install -d -m 0700",
        lambda well: well.patch.setattr(machine, "writable", lambda folder: True),
    ),
    Case(
        "file_modes",
        lambda well: well.settings.BACKUP_DIR.chmod(0o755),
        "chmod o-rwx",
        lambda well: well.settings.BACKUP_DIR.chmod(0o750),
    ),
    Case(
        "other_disk",
        lambda well: well.patch.setattr(machine, "device", lambda folder: 1),
        "another disk",
        lambda well: well.patch.setattr(machine, "device", hash),
        level=ADVICE,
    ),
    Case(
        "static",
        lambda well: (well.settings.STATIC_ROOT / "staticfiles.json").unlink(),
        "collectstatic",
        _collect,
    ),
    Case("mail", SMTP_OFF, "EMAIL_URL", MAIL_BACK, level=ADVICE),
    Case("mail", _refused_mail, "EMAIL_URL", MAIL_BACK),
    Case("proxy", told(BEHIND_PROXY=False), "BEHIND_PROXY=1", told(BEHIND_PROXY=True)),
    Case(
        "proxy",
        told(TRUSTED_PROXIES=[ip_network("0.0.0.0/0")]),
        "proxy's own address",
        told(TRUSTED_PROXIES=[ip_network("10.0.3.7")]),
    ),
    Case(
        "proxy", told(TRUSTED_PROXIES=[]), "TRUSTED_PROXIES", told(TRUSTED_PROXIES=[ip_network("10.0.3.7")])
    ),
    Case("second_factor", _not_asked, "under Settings", _enrol_and_ask),
    Case("second_factor", _without_own, "stop the accounts", _stop, level=ADVICE),
    Case("emergency_account", _hospital_only, "Invite one manager", _local_manager),
    Case(
        "backup",
        lambda well: (well.settings.BACKUP_DIR / "clinic-1.tar").unlink(),
        "manage.py backup",
        lambda well: archive(well.settings.BACKUP_DIR / "clinic-2.tar"),
    ),
    Case(
        "backup",
        lambda well: age(well.settings.BACKUP_DIR / "clinic-1.tar", hours=27),
        "manage.py backup",
        lambda well: archive(well.settings.BACKUP_DIR / "clinic-2.tar"),
    ),
    Case("backup", _open_backup, "delete the open one", _seal_anew),
    Case(
        "drill",
        lambda well: (well.settings.VAR_DIR / "drills.jsonl").unlink(),
        "manage.py drill",
        lambda well: drilled(well.settings),
    ),
    Case(
        "drill",
        lambda well: drilled(well.settings, passed=False),
        "manage.py drill",
        lambda w: drilled(w.settings),
    ),
    Case(
        "drill",
        lambda well: drilled(well.settings, days=40),
        "manage.py drill",
        lambda w: drilled(w.settings),
    ),
    Case(
        "digest",
        lambda well: (well.settings.DIGEST_DIR / "heads.jsonl").unlink(),
        "manage.py digest_chain",
        lambda well: call_command("digest_chain", verbosity=0),
    ),
    Case(
        "digest",
        _old_digest,
        "manage.py digest_chain",
        lambda well: call_command("digest_chain", verbosity=0),
    ),
    Case("versions", _django_is_other, "make install", _django_is_right),
]
#: Of one database only: their cases stand below, or in the tests that start a server.
OF_ONE_DATABASE = {"database_rights"}


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


@contextmanager
def answering(status):
    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize(
    ("status", "level", "words"),
    [(200, WELL, "is reached"), (400, FAULT, "does not serve the name"), (502, FAULT, "answers 502")],
)
def test_the_address_is_asked_as_a_browser_would(status, level, words):
    with answering(status) as url:
        found = reached(url)
    assert found.level == level
    assert words in found.words


def test_an_endless_redirect_is_told_from_the_one_that_leads_to_https(monkeypatch):
    import http.client

    # The same answer under http is the way to https, under https it is the circle.
    monkeypatch.setattr(http.client, "HTTPSConnection", http.client.HTTPConnection)
    class_ = http.client.HTTPConnection

    def answer(self):
        return SimpleNamespace(status=301, getheader=lambda name: "https://clinic.example.org/sign-in/")

    monkeypatch.setattr(class_, "request", lambda self, *words: None)
    monkeypatch.setattr(class_, "getresponse", answer)
    assert reached("http://clinic.example.org").level == WELL
    found = reached("https://clinic.example.org")
    assert (found.level, "TRUSTED_PROXIES" in found.remedy) == (FAULT, True)


@pytest.mark.parametrize(
    "url", ["clinic.example.org", "ftp://clinic.example.org", "https://", "http://127.0.0.1:1"]
)
def test_an_address_that_cannot_be_asked_is_a_fault(url):
    found = reached(url)
    assert found.level == FAULT
    assert found.remedy
