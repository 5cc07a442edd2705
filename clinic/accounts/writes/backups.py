"""Backup and restore: the database at one instant, the pictures it names, the digest file, and a manifest of
hashes.

Pictures are copied from a folder or from the object store, whichever the settings name, and restored into
whichever they name then: an archive holds them all. The database is copied first. A picture is stored before
its row and never changed under its name, so every picture that the copied rows name is there when the
pictures are copied after it.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import sqlite3
import tarfile
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from clinic.accounts.sealed_files import SealFault, is_sealed, seal, unseal
from clinic.accounts.writes import digests, postgres_copy
from clinic.accounts.writes.archive_schema import postgres_faults, sqlite_faults
from clinic.accounts.writes.picture_store import (
    picture,
    picture_names,
    pictures_filled,
    pictures_taken_away,
    pictures_there,
)
from clinic.accounts.writes.problems import program_version
from clinic.record import append_only

__all__ = ["ArchiveFault", "backup", "check", "restore"]

FORMAT = 1
MANIFEST = "manifest.json"
#: What is read of an archive at most, design choices: a manifest of a million files, a path of ours and room.
MANIFEST_BYTES = 200_000_000
DEEPEST, LONGEST_NAME = 8, 400
Say = Callable[[str], None]


class ArchiveFault(ValueError):
    """The archive is not what its manifest says, or the place is not empty; the sentence names the file."""


def _hash(path: Path) -> str:
    with path.open("rb") as read:
        return hashlib.file_digest(read, "sha256").hexdigest()


def _copy_database(folder: Path) -> str:
    if connection.vendor == "sqlite":
        # The live file through its own connection: consistent while others write, and the log is merged in.
        with (
            closing(sqlite3.connect(connection.settings_dict["NAME"])) as live,
            closing(sqlite3.connect(folder / "database.sqlite3")) as copy,
        ):
            live.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
        return "database.sqlite3"
    try:
        postgres_copy.dump(folder / "database.pgdump")
    except postgres_copy.ToolFault as fault:
        raise ArchiveFault(str(fault)) from fault
    return "database.pgdump"


def backup(target: Path, *, passphrase: str = "", say: Say = lambda words: None) -> dict[str, Any]:
    """Write one archive; it appears under its name only when it is whole."""
    if target.exists():
        raise ArchiveFault(f"{target.name} exists already; a backup never overwrites one")
    if settings.PRODUCTION and not passphrase:
        raise ArchiveFault("BACKUP_PASSPHRASE is not set: in production no backup is written in the clear")
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as held:
        folder = Path(held)
        # The digest file first: it may know less than the database copy, never more.
        known = digests.path().read_bytes() if digests.path().exists() else None
        say("Copying the database")
        files = {_copy_database(folder): folder}
        if known is not None:
            (folder / "heads.jsonl").write_bytes(known)
        sources: dict[str, Callable[[], bytes]] = {
            name: (root / name).read_bytes for name, root in files.items()
        }
        sources |= {f"media/{name}": partial(picture, name) for name in picture_names()}
        if known is not None:
            sources["digests/heads.jsonl"] = (folder / "heads.jsonl").read_bytes
        whole = folder / "archive.tar"
        entries = {}
        with tarfile.open(whole, "w") as tar:
            for number, (name, source) in enumerate(sources.items(), start=1):
                data = source()
                entries[name] = {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
                member = tarfile.TarInfo(name)
                member.size, member.mode = len(data), 0o600
                tar.addfile(member, io.BytesIO(data))
                if number % 200 == 0:
                    say(f"{number} of {len(sources)} files")
            manifest = {
                "format": FORMAT,
                "made_at": timezone.now().isoformat(timespec="seconds"),
                "program": program_version(),
                "vendor": connection.vendor,
                "migrations": sorted(
                    f"{app}.{name}" for app, name in MigrationLoader(connection).applied_migrations
                ),
                "files": entries,
            }
            manifest["sha256"] = _own_hash(manifest)
            body = json.dumps(manifest, indent=1, sort_keys=True).encode()
            member = tarfile.TarInfo(MANIFEST)
            member.size, member.mode = len(body), 0o600
            tar.addfile(member, io.BytesIO(body))
        ready = whole
        if passphrase:
            say("Sealing it")
            ready = folder / "archive.sealed"
            seal(whole, ready, passphrase)
        with ready.open("rb") as written:
            os.fsync(written.fileno())
        ready.chmod(0o600)
        os.replace(ready, target)
    say(f"{len(entries)} files in {target.name}")
    return manifest


def _own_hash(manifest: dict[str, Any]) -> str:
    values = {key: value for key, value in manifest.items() if key != "sha256"}
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def _unpack(archive: Path, folder: Path, passphrase: str) -> Path:
    """Take the members out, refusing any name that would leave the folder."""
    plain = archive
    if settings.PRODUCTION and not is_sealed(archive):
        raise ArchiveFault(f"{archive.name} is not sealed: anybody may have written it, so it is not loaded")
    if is_sealed(archive):
        if not passphrase:
            raise ArchiveFault(f"{archive.name} is sealed; its passphrase is needed")
        plain = folder / "plain.tar"
        try:
            unseal(archive, plain, passphrase)
        except SealFault as fault:
            raise ArchiveFault(str(fault)) from fault
    out = folder / "members"
    out.mkdir()
    try:
        with tarfile.open(plain, "r:") as tar:
            for member in tar:
                name = PurePosixPath(member.name)
                if (
                    name.is_absolute()
                    or ".." in name.parts
                    or not member.isfile()
                    or len(name.parts) > DEEPEST
                    or len(member.name) > LONGEST_NAME
                ):
                    raise ArchiveFault(f"{member.name[:200]}: no backup of ours holds such a name")
                path = out / name
                if path.exists():
                    raise ArchiveFault(f"{member.name} stands twice in {archive.name}")
                path.parent.mkdir(parents=True, exist_ok=True)
                taken = tar.extractfile(member)
                assert taken is not None
                with path.open("wb") as written:
                    shutil.copyfileobj(taken, written)
                if path.stat().st_size != member.size:
                    raise ArchiveFault(f"{member.name} is cut short in {archive.name}")
    except (tarfile.TarError, EOFError, OSError) as fault:
        raise ArchiveFault(f"{archive.name} is no archive, or cut short: {fault}") from fault
    return out


def _no_number(name: str) -> NoReturn:
    raise ValueError(name)


def _checked(archive: Path, folder: Path, passphrase: str) -> tuple[Path, dict[str, Any]]:
    if not archive.is_file() or archive.stat().st_size == 0:
        raise ArchiveFault(f"{archive.name} is missing or empty")
    out = _unpack(archive, folder, passphrase)
    if not (out / MANIFEST).exists():
        raise ArchiveFault(f"{MANIFEST} is missing in {archive.name}: it is no backup, or cut short")
    size = (out / MANIFEST).stat().st_size
    if size > MANIFEST_BYTES:
        raise ArchiveFault(f"{MANIFEST} has {size} bytes; at most {MANIFEST_BYTES} are read")
    try:
        manifest = json.loads((out / MANIFEST).read_bytes(), parse_constant=_no_number)
        values, files = manifest["sha256"], dict(manifest["files"])
        whole = (
            all(len(entry["sha256"]) == 64 for entry in files.values()) and len(manifest["migrations"]) >= 0
        )
    except (ValueError, KeyError, TypeError, RecursionError) as fault:
        raise ArchiveFault(f"{MANIFEST} cannot be read") from fault
    if not whole:
        raise ArchiveFault(f"{MANIFEST} cannot be read")
    if values != _own_hash(manifest):
        raise ArchiveFault(f"{MANIFEST} was altered")
    if manifest["format"] != FORMAT:
        raise ArchiveFault(f"{MANIFEST}: format {manifest['format']} is not the {FORMAT} this program reads")
    there = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()} - {MANIFEST}
    for name in sorted(set(files) - there):
        raise ArchiveFault(f"{name} is missing")
    for name in sorted(there - set(files)):
        raise ArchiveFault(f"{name} is not in the manifest")
    for name, entry in sorted(files.items()):
        if _hash(out / name) != entry["sha256"]:
            raise ArchiveFault(f"{name} is damaged: its hash is not the one in the manifest")
    loader = MigrationLoader(None, ignore_no_migrations=True)
    known = {f"{app}.{name}" for app, name in loader.disk_migrations}
    for name in sorted(set(manifest["migrations"]) - known):
        raise ArchiveFault(f"the backup is of a newer program: migration {name} is not known here")
    for words in _schema_faults(out, same_schema=set(manifest["migrations"]) == known):
        raise ArchiveFault(f"{archive.name}: {words}; nothing was loaded")
    return out, manifest


def _schema_faults(out: Path, *, same_schema: bool) -> Iterator[str]:
    if (out / "database.sqlite3").exists():
        yield from sqlite_faults(out / "database.sqlite3", same_schema=same_schema)
    if (out / "database.pgdump").exists():
        try:
            yield from postgres_faults(postgres_copy.schema_of(out / "database.pgdump"))
        except postgres_copy.ToolFault as fault:
            yield str(fault)


def check(archive: Path, *, passphrase: str = "") -> dict[str, Any]:
    """Read the whole archive and compare every hash; nothing is written."""
    with tempfile.TemporaryDirectory(prefix="check-") as held:
        return _checked(archive, Path(held), passphrase)[1]


def _empty_place() -> None:
    if taken := pictures_there():
        raise ArchiveFault(f"{taken} is not empty; a restore never overwrites pictures")
    if connection.vendor == "sqlite":
        name = Path(connection.settings_dict["NAME"])
        if name.exists() and name.stat().st_size and connection.introspection.table_names():
            raise ArchiveFault(f"{name} is not empty; a restore never overwrites a database")
    elif connection.introspection.table_names():
        raise ArchiveFault(f"database {connection.settings_dict['NAME']} is not empty")


def restore(archive: Path, *, passphrase: str = "", say: Say = lambda words: None) -> dict[str, Any]:
    """Check the whole archive first, then fill the empty place that the settings name."""
    with tempfile.TemporaryDirectory(prefix="restore-") as held:
        say("Checking every file against the manifest")
        out, manifest = _checked(archive, Path(held), passphrase)
        if manifest["vendor"] != connection.vendor:
            raise ArchiveFault(
                f"the backup is of {manifest['vendor']}, DATABASE_URL names {connection.vendor}"
            )
        _empty_place()
        try:
            _fill(out, say)
        except BaseException:
            # Half a record must not be taken for a whole one.
            say("It failed; the place is emptied again")
            _empty_again(out)
            raise
    return manifest


def _fill(out: Path, say: Say) -> None:
    say("Filling the database")
    if connection.vendor == "sqlite":
        name = Path(connection.settings_dict["NAME"])
        connection.close()
        name.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        for beside in ("-wal", "-shm"):
            Path(f"{name}{beside}").unlink(missing_ok=True)
        shutil.copyfile(out / "database.sqlite3", name)
        name.chmod(0o600)
    else:
        try:
            postgres_copy.fill(out / "database.pgdump")
        except postgres_copy.ToolFault as fault:
            raise ArchiveFault(str(fault)) from fault
    say("Filling the pictures")
    if (out / "media").exists():
        pictures_filled(out / "media")
    stored = digests.path()
    if (out / "digests").exists() and not stored.exists():
        stored.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        shutil.copyfile(out / "digests" / "heads.jsonl", stored)


def _empty_again(out: Path) -> None:
    """Take away what this restore put into a place that was empty. The fill of PostgreSQL is one transaction:
    a failed one leaves nothing; tables that stand are dropped.
    """
    if connection.vendor == "sqlite":
        connection.close()
        for ending in ("", "-wal", "-shm"):
            Path(f"{connection.settings_dict['NAME']}{ending}").unlink(missing_ok=True)
    else:
        with connection.cursor() as cursor:
            for table in connection.introspection.table_names(cursor):
                cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)} CASCADE")
            # Its triggers went with the tables; the next restore makes the function again.
            cursor.execute(f"DROP FUNCTION IF EXISTS {append_only.FUNCTION}()")
    if (out / "media").exists():
        pictures_taken_away(out / "media")
