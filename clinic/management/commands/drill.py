"""Rehearse the restore: back up, restore into an empty place beside, check it, throw it away, keep the
time.
"""

from __future__ import annotations

import json
import os
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import ProgrammingError, connection
from django.utils import timezone

from clinic.accounts.writes.backups import ArchiveFault, backup


def beside(url: str, name: str) -> str:
    """The address of another database on the same server: user, password and options stay as written."""
    parts = urlsplit(url)
    return parts._replace(path=f"{parts.path.rpartition('/')[0]}/{name}").geturl()


class Command(BaseCommand):
    help = "Backup and restore rehearsal; run it monthly. Its outcome is one line in VAR_DIR/drills.jsonl."

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.perf_counter()
        with tempfile.TemporaryDirectory(prefix="drill-") as held:
            folder = Path(held)
            archive = folder / "drill.tar"
            try:
                manifest = backup(archive, passphrase=settings.BACKUP_PASSPHRASE)
            except ArchiveFault as fault:
                raise CommandError(str(fault)) from fault
            saved = time.perf_counter()
            place, undo = self._place(folder)
            try:
                done = subprocess.run(  # noqa: S603  our own command
                    [sys.executable, str(settings.BASE_DIR / "manage.py"), "restore", str(archive)],
                    env={
                        **os.environ,
                        "VAR_DIR": str(folder / "var"),
                        "DIGEST_DIR": str(folder / "var" / "digests"),
                        "MEDIA_DIR": str(folder / "var" / "media"),
                        # Pictures of an object store are rehearsed into a folder; the store is not written.
                        **dict.fromkeys(
                            (
                                "OBJECT_STORE_BUCKET",
                                "OBJECT_STORE_URL",
                                "OBJECT_STORE_KEY",
                                "OBJECT_STORE_SECRET",
                            ),
                            "",
                        ),
                        "DIGEST_KEY_FILE": str(settings.DIGEST_KEY_FILE),
                        "DIGEST_SECOND_DIR": "",
                        **place,
                    },
                    capture_output=True,
                    text=True,
                )
            finally:
                undo()
            size = archive.stat().st_size
        ended = time.perf_counter()
        line = {
            "at": timezone.now().isoformat(timespec="seconds"),
            "passed": done.returncode == 0,
            "files": len(manifest["files"]),
            "bytes": size,
            "backup_s": round(saved - began, 2),
            "restore_s": round(ended - saved, 2),
        }
        with (settings.VAR_DIR / "drills.jsonl").open("a") as out:
            out.write(json.dumps(line) + "\n")
        self.stdout.write(
            f"{line['files']} files, {size / 1e6:.1f} MB: backup {line['backup_s']} s, "
            f"restore with all checks {line['restore_s']} s"
        )
        if done.returncode:
            # What was found stands in its output, how many in its error.
            raise CommandError(f"the drill failed: {done.stdout.strip()}\n{done.stderr.strip()}")

    def _place(self, folder: Path) -> tuple[dict[str, str], Callable[[], None]]:
        """What leads the restore to an empty place beside the record, and what removes that place."""
        if connection.vendor == "sqlite":
            return {"DATABASE_URL": f"sqlite:///{folder / 'var' / 'drill.sqlite3'}"}, lambda: None
        name = f"drill_{secrets.token_hex(4)}"
        try:
            self._run_sql(f'CREATE DATABASE "{name}"')
        except ProgrammingError:
            # A role without the right to create a database: a schema of its own in this one will do.
            try:
                self._run_sql(f'CREATE SCHEMA "{name}"')
            except ProgrammingError as fault:
                raise CommandError(
                    f"role {connection.settings_dict['USER']} may create neither a database nor a schema; "
                    f"make it the owner: ALTER DATABASE {connection.settings_dict['NAME']} OWNER TO …"
                ) from fault
            session = f"{connection.settings_dict['OPTIONS'].get('options', '')} -c search_path={name}"
            return {"DATABASE_SESSION": session.strip()}, lambda: self._run_sql(
                f'DROP SCHEMA "{name}" CASCADE'
            )
        return (
            {"DATABASE_URL": beside(os.environ["DATABASE_URL"], name)},
            lambda: self._run_sql(f'DROP DATABASE "{name}"'),
        )

    def _run_sql(self, statement: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)
