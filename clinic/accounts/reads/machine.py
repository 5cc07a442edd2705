"""What the machine under the program is like: files, disks, clock, libraries."""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import subprocess
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

from clinic.accounts.sealed_files import is_sealed

__all__ = [
    "LEAST_FREE_BYTES",
    "clock_is_set",
    "device",
    "dump_version",
    "free_bytes",
    "last_line",
    "newest_backup",
    "not_as_locked",
    "sealed",
    "sqlite_fault",
    "writable",
]

LEAST_FREE_BYTES = 10**9
NETWORK_SHARES = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p"}


def _standing(folder: Path) -> Path:
    """The folder, or the nearest above it that exists."""
    return next((one for one in (folder, *folder.parents) if one.exists()), Path("/"))


def writable(folder: Path) -> bool:
    """Whether the folder is there and takes files, or can be made."""
    there = _standing(folder)
    return there.is_dir() and os.access(there, os.W_OK | os.X_OK)


def free_bytes(folder: Path) -> int:
    values = os.statvfs(_standing(folder))
    return values.f_bavail * values.f_frsize


def device(folder: Path) -> int:
    return _standing(Path(folder)).stat().st_dev


def newest_backup(folder: Path) -> Path | None:
    found = [path for path in Path(folder).glob("*.tar") if path.is_file()]
    return max(found, key=lambda path: path.stat().st_mtime, default=None)


def sealed(archive: Path) -> bool:
    return is_sealed(archive)


def last_line(path: Path) -> dict[str, Any] | None:
    """The last line of a file of JSON lines; None where there is none that can be read."""
    try:
        lines = path.read_text().split("\n")
        values = json.loads(next(line for line in reversed(lines) if line.strip()))
    except (OSError, StopIteration, ValueError):
        return None
    return values if isinstance(values, dict) and "at" in values else None


def clock_is_set() -> bool | None:
    """Whether something sets the clock of this machine; None where it cannot be told, as in a container."""
    program = shutil.which("timedatectl")
    if program is None:
        return None
    words = [program, "show", "-p", "NTPSynchronized", "--value"]
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=5)  # noqa: S603  our own words
    except (OSError, subprocess.TimeoutExpired):
        return None
    return {"yes": True, "no": False}.get(done.stdout.strip()) if done.returncode == 0 else None


def dump_version() -> int | None:
    """The main version of `pg_dump`."""
    program = shutil.which("pg_dump")
    if program is None:
        return None
    done = subprocess.run([program, "--version"], capture_output=True, text=True)  # noqa: S603  our own words
    found = re.search(r"(\d+)\.", done.stdout)
    return int(found.group(1)) if found else None


def not_as_locked(lock: Path) -> list[str]:
    """Libraries that differ from the lock, each in words."""
    wrong = []
    for line in lock.read_text().splitlines():
        if not re.match(r"[A-Za-z0-9]", line):
            continue
        pin = Requirement(line.rstrip("\\ "))
        if pin.marker is not None and not pin.marker.evaluate():
            continue
        try:
            found = version(pin.name)
        except PackageNotFoundError:
            found = "missing"
        if found not in pin.specifier:
            wrong.append(f"{pin.name} is {found}, this version has {str(pin.specifier).lstrip('=')}")
    return wrong


def sqlite_fault(path: Path) -> tuple[str, str]:
    """What is wrong with where the database file lies, and what to do; empty where nothing is."""
    if path.exists() and stat.S_IMODE(path.stat().st_mode) & (stat.S_IRWXG | stat.S_IRWXO):
        return f"Others on this machine can open the database file {path}.", f"Run: chmod 0600 {path}"
    mounts = Path("/proc/self/mounts")
    if mounts.exists():
        kinds = {Path(words[1]): words[2] for words in map(str.split, mounts.read_text().splitlines())}
        there = next((one for one in (path, *path.parents) if one in kinds), None)
        if there and kinds[there] in NETWORK_SHARES:
            return (
                f"The database file lies on a network share ({kinds[there]}), where its locks do not hold.",
                "Move VAR_DIR to a disk of this machine, or use PostgreSQL.",
            )
    return "", ""
