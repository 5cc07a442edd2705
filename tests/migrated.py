"""One migrated SQLite file for the whole run: `migrate` from an empty file costs processor time."""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def migrate(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """`manage.py migrate` on the file of a folder of its own."""
    clean = {k: v for k, v in os.environ.items() if k not in {"DJANGO_SETTINGS_MODULE", "DIGEST_DIR"}}
    return subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0", *words],
        cwd=ROOT,
        env={**clean, "VAR_DIR": str(folder), "DATABASE_URL": f"sqlite:///{folder / 'clinic.sqlite3'}"},
        capture_output=True,
        text=True,
    )


def migrated_once(shared: Path) -> Path:
    """The migrated file; whichever worker of the run comes first makes it, the others wait."""
    folder = shared / "migrated"
    with (shared / "migrated.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            making = shared / "migrating"
            making.mkdir()
            done = migrate(making)
            assert done.returncode == 0, done.stderr
            making.rename(folder)
    return folder / "clinic.sqlite3"


def copy_into(folder: Path, file: Path) -> None:
    """The migrated file as the database of a folder of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(file, folder / "clinic.sqlite3")
