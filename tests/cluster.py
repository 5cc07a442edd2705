"""PostgreSQL servers of a test's own, in temporary folders, from the programs Debian installs."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg

__all__ = ["PASSWORD", "PROGRAMS", "Cluster", "free_port", "replicated", "running"]

PROGRAMS = max(Path("/usr/lib/postgresql").glob("*/bin"), default=None, key=lambda p: int(p.parent.name))
#: Every character here must be encoded in an address.
PASSWORD = "p@ss/w:rd?#%&"


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


@dataclass
class Cluster:
    """One server; `app@clinic` is its superuser."""

    folder: Path
    port: int

    def run(self, program: str, *words: str) -> None:
        # The server's programs refuse to run as root.
        become = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        done = subprocess.run(
            [*become, str(PROGRAMS / program), *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.folder,
        )
        assert done.returncode == 0, done.stderr

    def start(self, *options: str) -> None:
        settings = (f"port={self.port}", "listen_addresses=127.0.0.1", *options)
        words = " ".join(f"-c {one}" for one in (*settings, f"unix_socket_directories={self.folder}"))
        self.run(
            "pg_ctl",
            "-D",
            str(self.folder / "db"),
            "-w",
            "-l",
            str(self.folder / "log"),
            "-o",
            words,
            "start",
        )

    def stop(self, how: str = "immediate") -> None:
        if (self.folder / "db" / "postmaster.pid").exists():
            self.run("pg_ctl", "-D", str(self.folder / "db"), "-w", "-m", how, "stop")

    def sql(self, *statements: str, database: str = "postgres") -> list[tuple]:
        rows: list[tuple] = []
        with psycopg.connect(self.url("app@clinic", database), autocommit=True) as open_:
            for statement in statements:
                cursor = open_.execute(statement)
                rows = cursor.fetchall() if cursor.description else []
        return rows

    def url(self, user: str, database: str, options: str = "") -> str:
        who = f"{quote(user, safe='')}:{quote(PASSWORD, safe='')}"
        return f"postgres://{who}@127.0.0.1:{self.port}/{database}{options}"


def place() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="cluster-"))
    folder.chmod(0o755)
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    return folder


@contextmanager
def running(*options: str) -> Iterator[Cluster]:
    cluster = Cluster(place(), free_port())
    secret = cluster.folder / "password"
    secret.write_text(PASSWORD)
    secret.chmod(0o644)
    cluster.run(
        "initdb",
        "-D",
        str(cluster.folder / "db"),
        "-A",
        "scram-sha-256",
        "-U",
        "app@clinic",
        "--no-sync",
        "-E",
        "UTF8",
        f"--pwfile={secret}",
    )
    cluster.start("fsync=off", *options)
    try:
        yield cluster
    finally:
        cluster.stop()
        shutil.rmtree(cluster.folder, ignore_errors=True)


@contextmanager
def replicated() -> Iterator[tuple[Cluster, Cluster]]:
    """A server and its standby: a commit is answered only when both have it on disk."""
    with running("synchronous_commit=on", "wal_level=replica") as primary:
        standby = Cluster(place(), free_port())
        address = primary.url("app@clinic", "postgres")
        primary.run("pg_basebackup", "-d", address, "-D", str(standby.folder / "db"), "-R", "-X", "stream")
        # Promoted, it stands alone and waits for nobody.
        standby.start("fsync=off", "synchronous_standby_names=")
        try:
            primary.sql("ALTER SYSTEM SET synchronous_standby_names = '*'", "SELECT pg_reload_conf()")
            yield primary, standby
        finally:
            standby.stop()
            shutil.rmtree(standby.folder, ignore_errors=True)
