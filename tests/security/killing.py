"""A real server on a database of its own, clients that save visits to it, and the knife.

`python -m tests.security.killing` runs the whole on SQLite and prints the figures; with DATABASE_URL naming a
PostgreSQL server it makes a database of its own there. The tests run the same.
"""

from __future__ import annotations

import http.client
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, Queue
from urllib.parse import urlencode, urlsplit

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "correct horse battery"
PEOPLE, DAYS = 25, 8  # 200 visits
CLIENTS = 6
#: Cookies, or the fields of a form.
Jar = dict[str, str]


@dataclass
class Place:
    """Where one run keeps its database and pictures."""

    folder: Path
    url: str

    def env(self, **more: str) -> dict[str, str]:
        dropped = {"DJANGO_SETTINGS_MODULE", "DJANGO_ALLOW_ASYNC_UNSAFE", "DIGEST_DIR", "PYTEST_DB"}
        kept = {k: v for k, v in os.environ.items() if k not in dropped}
        return {
            **kept,
            "VAR_DIR": str(self.folder),
            "DATABASE_URL": self.url,
            "OPENBLAS_NUM_THREADS": "1",
            **more,
        }

    def manage(self, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=self.env(**more),
            capture_output=True,
            text=True,
        )

    def ask(self, function: str, *words: str, module: str = "killing") -> object:
        """Run one function of this module, or of one beside it, inside the program, and read its JSON."""
        code = (
            "import os, sys, json, django; os.environ['DJANGO_SETTINGS_MODULE'] = 'clinic.config.settings';"
            f"django.setup(); from tests.security import {module}; "
            f"print(json.dumps({module}.{function}(*sys.argv[1:])))"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, *words], cwd=ROOT, env=self.env(), capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr[-2000:]
        return json.loads(done.stdout.splitlines()[-1])


def prepare(people: str) -> list[dict[str, int]]:
    """A site, a member of staff, and people with one open lesion each."""
    from django.db import transaction

    from clinic.models import User
    from clinic.record.writes import audit
    from tests import factories

    site = factories.site()
    factories.user("staff", at=site, username="writer", password=PASSWORD)
    made = []
    for _ in range(int(people)):
        lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
        made.append({"person": lesion.limb.person_id, "lesion": lesion.pk})
    # Made without the program's writes: one row of the chain carries all of it.
    with transaction.atomic():
        audit.record(by=None, site=site, verb="opened", target=site, also=User.objects.all())
    return made


def stored() -> dict[str, dict[str, object]]:
    """What the database holds: key of the form -> what hangs on its visit."""
    from clinic.models import AuditEvent, Visit

    told = {}
    logged = list(AuditEvent.objects.filter(verb="logged").values_list("target_id", flat=True))
    for visit in Visit.objects.prefetch_related("measurements"):
        told[str(visit.submission_key)] = {
            "lengths": [float(m.length_mm or 0) for m in visit.measurements.all()],
            "copies": visit.history.count(),
            "audit": logged.count(str(visit.pk)),
        }
    return told


def breaking_restore(archive: str) -> str:
    """Restore, and break while the pictures are filled; what was said."""
    from unittest.mock import patch

    from clinic.accounts.writes import backups

    with patch.object(backups, "pictures_filled", side_effect=OSError(28, "No space left on device")):
        try:
            backups.restore(Path(archive))
        except OSError as fault:
            return str(fault.strerror)
    return "it did not break"


@dataclass
class Server:
    """The program as it is served, killed without warning and started again."""

    place: Place
    port: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def start(self) -> None:
        if not self.port:
            with socket.socket() as free:
                free.bind(("127.0.0.1", 0))
                self.port = free.getsockname()[1]
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "gunicorn",
                "clinic.config.wsgi",
                "-w",
                "2",
                "--threads",
                "4",
                "--preload",
                "--no-control-socket",
                "-b",
                f"127.0.0.1:{self.port}",
                "--log-level",
                "critical",
            ],
            cwd=ROOT,
            env=self.place.env(),
            start_new_session=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(300):
            try:
                status, _, _ = request(self.port, "GET", "/health/", {})
            except OSError:
                time.sleep(0.1)
                continue
            if status == 200:
                return
        raise RuntimeError("the server did not come up")

    def kill(self) -> None:
        """kill -9 to the whole group: master and workers, wherever they are."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


def request(
    port: int, method: str, path: str, cookies: Jar, form: Jar | None = None, body: str | None = None
):
    """One request; cookies are kept in the given dict. `body` is a form that is encoded already."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {"Cookie": "; ".join(f"{k}={v}" for k, v in cookies.items())}
    token = urlencode({"csrfmiddlewaretoken": cookies.get("csrftoken", "")})
    if form is not None:
        body = urlencode(form)
    if body is not None:
        body = f"{body}&{token}"
        headers["Content-Type"] = "application/x-www-form-urlencoded"
    try:
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        text = answer.read()
    except http.client.HTTPException as fault:
        raise OSError(str(fault)) from fault
    finally:
        connection.close()
    for line in answer.headers.get_all("Set-Cookie") or []:
        name, _, value = line.partition(";")[0].partition("=")
        cookies[name] = value
    return answer.status, answer.headers, text


def signed_in(port: int) -> dict[str, str]:
    cookies: dict[str, str] = {}
    request(port, "GET", "/sign-in/", cookies)
    status, _, _ = request(port, "POST", "/sign-in/", cookies, {"username": "writer", "password": PASSWORD})
    assert status == 302, status
    return cookies


@dataclass
class Saves:
    """All visits to save, each with its key; what was answered for each."""

    forms: dict[str, tuple[str, dict[str, str], float]]
    accepted: set[str] = field(default_factory=set)
    refused: dict[str, int] = field(default_factory=dict)
    unanswered: set[str] = field(default_factory=set)
    #: Key of the form -> the key its answer names as stored: on that alone a device drops what was typed.
    told: dict[str, str] = field(default_factory=dict)
    times: list[float] = field(default_factory=list)


def make_saves(people: list[dict[str, int]]) -> Saves:
    from datetime import date, timedelta

    forms = {}
    today = date.today()
    for back in range(DAYS):
        for n, one in enumerate(people):
            key = str(uuid.uuid4())
            # Near each other: a value unlike the last is asked about before it is saved.
            length = round(30 + (n * DAYS + back) % 40 / 10, 1)
            day = today - timedelta(days=3 * (DAYS - back))
            head = f"lesion-{one['lesion']}-"
            forms[key] = (
                f"/people/{one['person']}/visits/new/",
                {
                    "submission_key": key,
                    "form_key": key,
                    "visited_on": day.isoformat(),
                    "red_flags": "none",
                    "next_in": "7",
                    f"{head}length_mm": str(length),
                    f"{head}width_mm": "8",
                    f"{head}debridement": "before",
                },
                length,
            )
    return Saves(forms)


def send_all(
    server: Server, saves: Saves, keys: list[str], cookies: list[dict[str, str]], kills: int
) -> None:
    """Send from several clients at once; the server is killed `kills` times on the way, at no chosen
    moment.
    """
    queue: Queue[str] = Queue()
    for key in keys:
        queue.put(key)
    up, done = threading.Event(), threading.Event()
    up.set()
    lock = threading.Lock()

    def client(jar: dict[str, str]) -> None:
        while True:
            try:
                key = queue.get_nowait()
            except Empty:
                return
            up.wait(60)
            path, form, _ = saves.forms[key]
            began = time.perf_counter()
            try:
                status, heads, _ = request(server.port, "POST", path, jar, form)
            except OSError:
                with lock:
                    saves.unanswered.add(key)
                continue
            with lock:
                if status == 302 and not heads.get("Location", "").startswith("/sign-in"):
                    saves.accepted.add(key)
                    saves.told[key] = json.loads(heads.get("Form-Stored", "{}")).get("key", "")
                    saves.times.append(time.perf_counter() - began)
                else:
                    saves.refused[key] = status

    threads = [threading.Thread(target=client, args=(dict(jar),)) for jar in cookies]
    for thread in threads:
        thread.start()
    for n in range(kills):
        while len(saves.accepted) + len(saves.unanswered) < (n + 1) * len(keys) // (kills + 1):
            time.sleep(0.002)
        server.kill()
        up.clear()
        server.start()
        up.set()
    for thread in threads:
        thread.join()
    done.set()


def run(
    place: Place, *, kills: int = 4, backup_to: Path | None = None, empty: bool = True
) -> dict[str, object]:
    """The whole: prepare, save 200 visits while the server is killed, send the unanswered again, look at
    everything.
    """
    if empty:
        made = place.manage("migrate", "-v0")
        assert made.returncode == 0, made.stderr[-2000:]
    people = place.ask("prepare", str(PEOPLE))
    assert isinstance(people, list)
    saves = make_saves(people)
    server = Server(place)
    server.start()
    try:
        cookies = [signed_in(server.port)] * CLIENTS
        keys = list(saves.forms)
        copying = None
        if backup_to is not None:

            def copy() -> None:
                time.sleep(0.8)
                told = place.manage("backup", str(backup_to))
                assert told.returncode == 0, told.stderr

            copying = threading.Thread(target=copy)
            copying.start()
        send_all(server, saves, keys, cookies, kills)
        if copying is not None:
            copying.join()
        after_kill = place.ask("stored")
        again = sorted(saves.unanswered)
        send_all(server, saves, again, cookies, 0)
    finally:
        if server.process and server.process.poll() is None:
            server.kill()
    whole = place.ask("stored")
    assert isinstance(whole, dict)
    assert isinstance(after_kill, dict)
    first = saves.accepted - set(again)
    held = place.manage("verify_audit")
    return {
        "sent": len(keys),
        "kills": kills,
        "accepted before sending again": len(first),
        "accepted and not stored": sorted(first - set(after_kill)),
        "unanswered": len(again),
        "unanswered yet stored": len(set(again) & set(after_kill)),
        "stored in the end": len(whole),
        "stored twice": len(whole) - len(set(whole) & set(keys)),
        "accepted and not named": sorted(key for key in saves.accepted if saves.told.get(key) != key),
        "half stored": [
            key
            for key, row in whole.items()
            if row["lengths"] != [saves.forms[key][2]] or row["audit"] != 1 or row["copies"] != 1
        ],
        "refused": saves.refused,
        "chain": held.stdout.strip() or held.stderr.strip(),
        "chain holds": held.returncode == 0,
        "slowest save (s)": round(max(saves.times), 2),
    }


class OwnPostgres:
    """A database of its own on the server that DATABASE_URL names."""

    def __init__(self, url: str) -> None:
        self.parts = urlsplit(url)
        self.name = f"kill_{secrets.token_hex(4)}"
        self.url = self.parts._replace(path=f"/{self.name}").geturl()

    def _sql(self, text: str) -> None:
        import psycopg

        with psycopg.connect(self.parts.geturl(), autocommit=True) as connection:
            connection.execute(text)

    def __enter__(self) -> str:
        self._sql(f'CREATE DATABASE "{self.name}"')
        return self.url

    def __exit__(self, *_: object) -> None:
        self._sql(f'DROP DATABASE "{self.name}" WITH (FORCE)')


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        url = os.environ.get("DATABASE_URL", "")
        if url.startswith("postgres"):
            with OwnPostgres(url) as own:
                print(json.dumps(run(Place(folder, own), backup_to=folder / "b.tar"), indent=1))
        else:
            place = Place(folder, f"sqlite:///{folder / 'clinic.sqlite3'}")
            print(json.dumps(run(place, backup_to=folder / "b.tar"), indent=1))
