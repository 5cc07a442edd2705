"""Write the files with which a machine runs the program, with fresh keys."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.config.deployment.files import EXECUTABLE, SECRET, Deployment, fault, files

#: Options that are paths on the machine, with what they are for.
PATHS = {
    "var": "where the program writes",
    "backups": "where backups go; best on another disk",
    "digests": "where the heads of the audit chains go; best on another disk",
    "certificates": "folder with fullchain.pem and privkey.pem",
    "logs": "where the log lines go",
}


class Command(BaseCommand):
    help = (
        "Write service unit, timers, proxy site, container files, environment file with fresh keys, log "
        "rotation. Nothing is overwritten."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", required=True, help="name under which browsers reach the clinic")
        parser.add_argument(
            "--out", required=True, type=Path, help="folder to write into, such as /etc/clinic"
        )
        parser.add_argument("--database", choices=["postgresql", "sqlite"], default="postgresql")
        parser.add_argument("--database-port", type=int, default=5432)
        parser.add_argument("--user", default=Deployment.user, help="system user of the service")
        parser.add_argument("--port", type=int, default=Deployment.port, help="port behind the proxy")
        parser.add_argument("--mail", default="", help="address that gets each morning's counts")
        for name, why in PATHS.items():
            parser.add_argument(f"--{name}", type=Path, default=getattr(Deployment, name), help=why)

    def handle(self, *args: Any, **options: Any) -> None:
        out = options["out"].absolute()
        made = Deployment(
            out=out,
            app=settings.BASE_DIR,
            python=Path(sys.executable),
            **{
                name: options[name]
                for name in ("host", "database", "database_port", "user", "port", "mail", *PATHS)
            },
        )
        if wrong := fault(made):
            raise CommandError(wrong)
        values = files(made)
        there = [name for name in values if (out / name).exists()]
        if there:
            raise CommandError(
                f"{out / there[0]} exists already; a written file, and the keys in it, are never overwritten"
            )
        out.mkdir(parents=True, exist_ok=True)
        for name, text in values.items():
            mode = 0o600 if name in SECRET else 0o755 if name in EXECUTABLE else 0o644
            # Born with its mode: a file with a key is at no moment readable to others.
            with os.fdopen(os.open(out / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "w") as write:
                write.write(text)
            (out / name).chmod(mode)
        self.stdout.write(f"{len(values)} files in {out}. README, “For real use”, says which goes where.")
        self.stdout.write(
            "Keep SECRET_KEY and BACKUP_PASSPHRASE of clinic.env away from this machine too: without the "
            "passphrase no backup opens."
        )
