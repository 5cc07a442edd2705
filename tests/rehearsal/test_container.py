"""The container file's steps, run as they are written in a clean folder, and the commands compose gives them.

No container engine runs here. It shows that the copied files, the locked packages, the settings and the
commands make a program that answers; not that the base image, Debian's packages, its user, the network of
compose or the proxy's container do.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from clinic.config.deployment.files import Deployment, files
from tests import cluster

ROOT = Path(__file__).resolve().parents[2]
#: What only an image has, stood in for; they say what they were asked to do.
STANDINS = ("apt-get", "useradd", "chown")
#: Folders of the image; each lies under the clean folder here.
IMAGE_PATHS = ("/srv/clinic", "/var/lib/clinic", "/var/lib/apt", "/var/backups/clinic")
LONGEST_SECONDS = 60

pytestmark = pytest.mark.cluster


@pytest.fixture(scope="module")
def written():
    return files(
        Deployment(
            host="clinic.example.org",
            out=Path("/etc/clinic"),
            app=Path("/srv/clinic/app"),
            python=Path("/srv/clinic/app/.venv/bin/python"),
        )
    )


def steps(text):
    return [line.split(" ", 1) for line in text.splitlines() if line and not line.startswith("#")]


class Image:
    """A folder that the steps fill as an engine would fill an image."""

    def __init__(self, folder):
        self.root, self.bin, self.asked = folder / "root", folder / "bin", folder / "asked"
        self.root.mkdir()
        self.bin.mkdir()
        self.workdir = self.root
        for name in STANDINS:
            (self.bin / name).write_text(f'#!/bin/sh\necho {name} "$@" >> {self.asked}\n')
            (self.bin / name).chmod(0o755)
        # What FROM gives: an interpreter of that version with nothing installed.
        subprocess.run([sys.executable, "-m", "venv", str(folder / "python")], check=True)
        self.path = f"{self.bin}:{folder / 'python' / 'bin'}:{os.environ['PATH']}"

    def within(self, text):
        for one in IMAGE_PATHS:
            text = re.sub(rf"(?<![\w/]){one}", f"{self.root}{one}", text)
        return text

    def run(self, words, **more):
        kept = {k: v for k, v in os.environ.items() if k.startswith("PIP_") or k in ("HOME", "LANG")}
        return subprocess.run(
            words, cwd=self.workdir, env={**kept, "PATH": self.path, **more}, capture_output=True, text=True
        )

    def copy(self, rest):
        *sources, target = rest.split()
        for source in sources:
            to = (
                self.workdir / target
                if (ROOT / source).is_dir() or len(sources) == 1
                else self.workdir / source
            )
            to.parent.mkdir(parents=True, exist_ok=True)
            if (ROOT / source).is_dir():
                shutil.copytree(ROOT / source, to, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(ROOT / source, to)


def built(folder, text):
    image, command = Image(folder), []
    for word, rest in steps(text):
        if word == "FROM":
            assert rest.startswith(f"python:{sys.version_info.major}.{sys.version_info.minor}-"), rest
        elif word == "WORKDIR":
            image.workdir = Path(image.within(rest))
            image.workdir.mkdir(parents=True)
        elif word == "COPY":
            image.copy(rest)
        elif word == "RUN":
            done = image.run(["sh", "-c", image.within(rest)])
            assert done.returncode == 0, (rest, done.stderr[-2000:])
        elif word == "CMD":
            command = json.loads(rest)
        else:
            assert word in ("USER", "EXPOSE"), word
    return image, command


def answer(port):
    until = time.monotonic() + LONGEST_SECONDS
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/", timeout=5) as said:
                return said.status, json.loads(said.read())
        except urllib.error.HTTPError as fault:
            return fault.code, fault.read()
        except OSError:
            time.sleep(0.2)
    return 0, {}


def test_the_container_files_steps_make_a_program_that_answers(written, tmp_path):
    image, command = built(tmp_path, written["Containerfile"])
    asked = image.asked.read_text()
    assert "apt-get install -y --no-install-recommends postgresql-client" in asked
    assert "useradd --system --uid 10001" in asked
    variables = dict(
        line.split("=", 1)
        for line in written["compose.env"].splitlines()
        if line and not line.startswith("#")
    )
    (prepare,) = re.findall(r'command: (\["sh".*\])', written["compose.yaml"])
    with cluster.running() as database:
        database.sql("CREATE DATABASE clinic")
        settings = {
            **{name: image.within(value) for name, value in variables.items()},
            "DATABASE_URL": database.url("app@clinic", "clinic"),
        }
        done = image.run(json.loads(prepare), **settings)
        assert done.returncode == 0, done.stderr[-2000:]
        port = cluster.free_port()
        command = [word.replace("0.0.0.0:8000", f"127.0.0.1:{port}") for word in command]
        assert f"127.0.0.1:{port}" in command
        log = (tmp_path / "log").open("wb")
        running = subprocess.Popen(
            command, cwd=image.workdir, env={"PATH": image.path, **settings}, stdout=log, stderr=log
        )
        try:
            status, told = answer(port)
        finally:
            running.terminate()
            running.wait(timeout=30)
            log.close()
        assert (status, told) == (200, {"status": "ok", "database": True, "room_for_photos": True}), (
            tmp_path / "log"
        ).read_text()[-2000:]
        # Nothing was read from outside of the folder.
        done = image.run(
            ["python", "-c", "import clinic, django, storages; print(clinic.__file__, django.__file__)"],
            **settings,
        )
        assert all(str(tmp_path) in path for path in done.stdout.split()), done.stdout


def test_only_what_a_step_copies_is_there(written, tmp_path):
    without = written["Containerfile"].replace("COPY templates templates\n", "")
    without = re.sub(r"RUN python -m pip install[^\n]*\n", "", without)
    image, _ = built(tmp_path, without)
    assert not (image.workdir / "templates").exists()
    assert (image.workdir / "clinic").exists()
