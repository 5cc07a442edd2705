"""How each line of the doctor is made to fail, and what its remedy does."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from io import StringIO
from ipaddress import ip_network

from django.conf import settings as live
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from clinic.accounts.reads import doctor, machine
from clinic.accounts.reads.doctor import ADVICE, FAULT
from clinic.accounts.writes import digests
from clinic.accounts.writes.settings_page import second_factor_rule
from clinic.config.object_store import ObjectStore
from tests import factories

KEY = "0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJKLMNOPQ"


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


def _pictures_in(well, store):
    folder = {"BACKEND": "django.core.files.storage.FileSystemStorage"}
    well.settings.OBJECT_STORE = store
    well.settings.STORAGES = {**well.settings.STORAGES, "default": store.storage if store.is_on else folder}


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
    well.clock, now = timezone.now, timezone.now()
    well.patch.setattr(doctor.timezone, "now", lambda: now - timedelta(hours=1))
    from clinic.record.writes import audit

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
    second_factor_rule(by=well.manager, site=well.site, required=True)


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
        lambda well: call_command("doctor", "--put-triggers-back", stdout=StringIO()),
    ),
    Case(
        "clock",
        _row_of_the_future,
        "timedatectl set-ntp true",
        lambda well: well.patch.setattr(doctor.timezone, "now", well.clock),
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
        "pictures",
        lambda well: _pictures_in(well, ObjectStore("clinic", "http://127.0.0.1:9", "here", "key", "secret")),
        "OBJECT_STORE_URL",
        lambda well: _pictures_in(well, ObjectStore()),
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
        # The command writes the line, and then says that this test put the file out of order.
        lambda well: digests.write(),
    ),
    Case(
        "digest",
        _old_digest,
        "manage.py digest_chain",
        # The command writes the line, and then says that this test put the file out of order.
        lambda well: digests.write(),
    ),
    Case("versions", _django_is_other, "make install", _django_is_right),
]
#: Of one database only: their cases stand below, or in the tests that start a server.
OF_ONE_DATABASE = {"database_rights"}
