"""A machine in a temporary folder, on which the README's commands run as they are written.

Paths of the README lie under the folder. What only a real machine has (packages, users, systemd, nginx) is
stood in for by small programs: the one for systemctl starts and stops the service as its unit says.
"""

from __future__ import annotations

import getpass
import os
import re
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = (
    "clinic",
    "offload",
    "fixtures",
    "requirements",
    "static",
    "templates",
    "manage.py",
    "pyproject.toml",
)
#: Where the README puts things; each lies under the machine's folder here.
PATHS = ("/srv/clinic", "/etc/", "/var/lib/clinic", "/var/backups/clinic", "/var/log/clinic")

STANDINS = {
    "apt-get": "exit 0",
    "useradd": "exit 0",
    "nginx": "exit 0",
    # Without the owner: the user was not made.
    "install": 'n=; set -- "$@" --; while [ "$1" != -- ]; do [ "$1" = -o ] && { shift 2; continue; }; '
    'set -- "$@" "$1"; shift; done; shift; exec /usr/bin/install "$@"',
    # `runuser -u postgres -- psql …` speaks with the server as its superuser.
    "runuser": 'shift 3; exec "$@"',
    "make": f'[ "$1" = -C ] && cd "$2"; [ -e .venv ] || ln -s {sys.prefix} .venv',
}

SYSTEMCTL = """
import configparser, os, shlex, signal, subprocess, sys, time
from pathlib import Path
root = Path(os.environ["MACHINE"])
pid, words = root / "clinic.pid", sys.argv[1:]
if "clinic.service" not in words:
    sys.exit(0)
if words[0] == "stop":
    if pid.exists():
        os.kill(int(pid.read_text()), signal.SIGTERM)
        pid.unlink()
        time.sleep(2)
    sys.exit(0)
unit = configparser.ConfigParser(interpolation=None)
unit.optionxform = str
unit.read(root / "etc/systemd/system/clinic.service")
told = unit["Service"]
lines = [x for x in Path(told["EnvironmentFile"]).read_text().splitlines() if x and x[0] != "#"]
log = open(told["StandardError"].removeprefix("append:"), "a")
running = subprocess.Popen(
    shlex.split(told["ExecStart"]),
    cwd=told["WorkingDirectory"],
    stdout=log,
    stderr=log,
    start_new_session=True,
    env={"PATH": os.environ["PATH"], **dict(x.split("=", 1) for x in lines)},
)
pid.write_text(str(running.pid))
"""


def blocks(heading: str) -> dict[str, str]:
    """Bold first words of each paragraph under a heading of the README -> its commands."""
    text = (ROOT / "README.md").read_text().split(f"## {heading}\n")[1].split("\n## ")[0]
    return {
        name: commands
        for name, commands in re.findall(
            r"^\*\*(?:\d+\. )?([\w ,]+)\.\*\*.*?```sh\n(.*?)```", text, re.M | re.S
        )
    }


@dataclass
class Machine:
    """The folder, the options that the machine's own ports and user need, and how long each step took."""

    folder: Path
    port: int
    database: str
    postgres: dict[str, str] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    commands: int = 0

    def __post_init__(self) -> None:
        programs = self.folder / "bin"
        programs.mkdir()
        for name, words in STANDINS.items():
            (programs / name).write_text(f"#!/bin/sh\nset -e\n{words}\n")
        (programs / "systemctl").write_text(f"#!{sys.executable}\n{SYSTEMCTL}")
        for one in programs.iterdir():
            one.chmod(0o755)
        for one in (
            "etc/systemd/system",
            "etc/nginx/sites-enabled",
            "etc/logrotate.d",
            "srv/clinic",
            "var/lib",
        ):
            (self.folder / one).mkdir(parents=True)

    @property
    def app(self) -> Path:
        return self.folder / "srv/clinic/app"

    def unpack(self, to: Path) -> Path:
        """A release: the program's folder without anything of this working copy."""
        to.mkdir(parents=True)
        for name in PROGRAM:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, to / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(ROOT / name, to / name)
        return to

    def environment(self) -> dict[str, str]:
        return {
            "PATH": f"{self.folder / 'bin'}:{os.environ['PATH']}",
            "HOME": str(self.folder),
            "MACHINE": str(self.folder),
            "OPENBLAS_NUM_THREADS": "1",
            **self.postgres,
        }

    def here(self, commands: str) -> str:
        """The README's commands with its paths under this folder, and this machine's ports and user."""
        for path in PATHS:
            commands = re.sub(rf"(?<![\w.{{}}-]){re.escape(path)}", f"{self.folder}{path}", commands)
        own = f"--user {getpass.getuser()} --port {self.port} --database {self.database}"
        if self.postgres:
            own += f" --database-port {self.postgres['PGPORT']}"
        for name, path in {"var": PATHS[2], "backups": PATHS[3], "logs": PATHS[4]}.items():
            own += f" --{name} {self.folder}{path}"
        own += f" --digests {self.folder}{PATHS[3]}-digests"
        return commands.replace("deployment_files ", f"deployment_files {own} ")

    def run(self, name: str, commands: str, answers: str = "") -> str:
        """One block, as one shell; it stops at the first command that fails."""
        first = blocks("For real use")["Program"].splitlines()[0]
        began = time.perf_counter()
        done = subprocess.run(
            ["sh", "-eu", "-c", self.here(f"{first}\n{commands}")],
            input=answers,
            capture_output=True,
            text=True,
            env=self.environment(),
            cwd=self.folder,
        )
        self.seconds[name] = round(time.perf_counter() - began, 1)
        self.commands += len(commands.splitlines())
        assert done.returncode == 0, f"{name}\n{done.stdout}\n{done.stderr}"
        return done.stdout + done.stderr

    def python(self, code: str) -> str:
        """Run code inside the program as it is installed here; the tests' factories are at hand."""
        lines = (self.folder / "etc/clinic/clinic.env").read_text().splitlines()
        told = dict(line.split("=", 1) for line in lines if line and line[0] != "#")
        begin = (
            "import os, django; os.environ['DJANGO_SETTINGS_MODULE'] = 'clinic.config.settings'; "
            "django.setup()"
        )
        done = subprocess.run(
            [str(self.app / ".venv/bin/python"), "-c", f"{begin}\n{code}"],
            cwd=self.app,
            env={**self.environment(), **told, "PYTHONPATH": f"{self.app}:{ROOT}"},
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr[-3000:]
        return done.stdout.strip()

    def answers(self, path: str, **headers: str) -> int:
        """What the service answers, asked as the proxy asks; 0 while nothing listens."""
        request = urllib.request.Request(  # noqa: S310  our own address
            f"http://127.0.0.1:{self.port}{path}", headers=headers
        )
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310  our own address
                return answer.status
        except urllib.error.HTTPError as answer:
            return answer.code
        except OSError:
            return 0

    def wait(self) -> None:
        deadline = time.monotonic() + 120
        while self.answers("/health/") != 200:
            assert time.monotonic() < deadline, (self.folder / "var/log/clinic/clinic.log").read_text()[
                -2000:
            ]
            time.sleep(0.3)

    def stop(self) -> None:
        subprocess.run([str(self.folder / "bin/systemctl"), "stop", "clinic.service"], env=self.environment())
