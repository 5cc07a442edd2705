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
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from clinic.accounts.writes.backups import ArchiveFault, backup


class Command(BaseCommand):
    help = "Backup and restore rehearsal; run it monthly. Its outcome is one line in VAR_DIR/drills.jsonl."

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.perf_counter()
        with tempfile.TemporaryDirectory(prefix="drill-") as held:
            folder = Path(held)
            archive = folder / "drill.tar"
            try:
                manifest = backup(archive, passphrase=os.environ.get("BACKUP_PASSPHRASE", ""))
            except ArchiveFault as fault:
                raise CommandError(str(fault)) from fault
            saved = time.perf_counter()
            url, undo = self._place(folder)
            try:
                done = subprocess.run(  # noqa: S603  our own command
                    [sys.executable, str(settings.BASE_DIR / "manage.py"), "restore", str(archive)],
                    env={
                        **os.environ,
                        "VAR_DIR": str(folder / "var"),
                        "DIGEST_DIR": str(folder / "var" / "digests"),
                        "DATABASE_URL": url,
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
            raise CommandError(f"the drill failed: {done.stderr.strip() or done.stdout.strip()}")

    def _place(self, folder: Path) -> tuple[str, Any]:
        """An empty database beside the real one, and what removes it."""
        if connection.vendor == "sqlite":
            return f"sqlite:///{folder / 'var' / 'drill.sqlite3'}", lambda: None
        database = connection.settings_dict
        name = f"drill_{secrets.token_hex(4)}"
        secret = f":{database['PASSWORD']}" if database["PASSWORD"] else ""
        with connection.cursor() as cursor:
            cursor.execute(f'CREATE DATABASE "{name}"')

        def undo() -> None:
            with connection.cursor() as cursor:
                cursor.execute(f'DROP DATABASE "{name}"')

        return f"postgres://{database['USER']}{secret}@{database['HOST']}:{database['PORT']}/{name}", undo
