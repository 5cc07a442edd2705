"""Two application servers, one PostgreSQL, a mixed load, and one server ended in the middle of it.

`DATABASE_URL=postgres://…/seeded python -m tests.bench.servers` on a database that `tests.bench.seed_network`
filled. Needs wrk (Debian's package) and nothing but loopback. Prints requests a second, latencies and errors,
then what became of every visit that a server had accepted.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

ROOT = Path(__file__).resolve().parents[2]
PORTS = (8191, 8192)
SECONDS = int(os.environ.get("SECONDS_OF_LOAD", "60"))
WRITERS, WRITES = 4, 150
TOKEN = "a" * 32

LUA = """
local pages, writes, n, w = {}, {}, 0, 0
for line in io.lines("%(reads)s") do pages[#pages + 1] = line end
for line in io.lines("%(writes)s") do writes[#writes + 1] = line end
local headers = { ["Cookie"] = "%(cookie)s", ["X-CSRFToken"] = "%(token)s",
  ["Content-Type"] = "application/x-www-form-urlencoded" }
request = function()
  n = n + 1
  if n %% 20 == 0 and w < #writes then
    w = w + 1
    local path, body = writes[w]:match("(%%S+) (%%S+)")
    return wrk.format("POST", path, headers, body)
  end
  return wrk.format("GET", pages[n %% #pages + 1], headers)
end
done = function(summary, latency, requests)
  io.write(string.format("RESULT %%d %%.1f %%.1f %%.1f %%d %%d\\n", summary.requests,
    summary.requests / (summary.duration / 1e6), latency:percentile(50) / 1e3, latency:percentile(95) / 1e3,
    summary.errors.status,
    summary.errors.connect + summary.errors.read + summary.errors.write + summary.errors.timeout))
end
"""


def prepared() -> dict[str, Any]:
    """A signed-in member of staff, pages to read, and visits to save; run inside the program."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore
    from django.db.models import F
    from django.utils import timezone

    from clinic.models import Lesion, Prescription, Visit
    from clinic.record.sealed_words import seal

    User = __import__("clinic.models", fromlist=["User"]).User
    user = User.objects.get(username="staff-1")
    user.sites.set(User.objects.get(username="network-manager").sites.all())
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "clinic.accounts.passwords.PasswordBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    today = timezone.localdate()
    # A device still sealed asks for more than one plain form can hold for all: open them first, in this
    # thrown-away network.
    sealed = Prescription.objects.filter(sealed_on__isnull=False, stopped_on__isnull=True)
    sealed.update(opened_on=F("sealed_on"))
    seen = Visit.objects.filter(visited_on=today).values("person")
    open_now = list(
        Lesion.objects.filter(state="open", limb__person__state="in_care")
        .exclude(limb__person__in=seen)
        .select_related("limb")
        .order_by("limb__person", "label")
    )
    people: dict[int, list[Lesion]] = {}
    for lesion in open_now:
        people.setdefault(lesion.limb.person_id, []).append(lesion)
    visits = []
    for person, lesions in people.items():
        sent = {
            "submission_key": str(uuid.uuid4()),
            "visited_on": today.isoformat(),
            "red_flags": "none",
            "next_in": "7",
        }
        for lesion in lesions:
            head = f"lesion-{lesion.pk}-"
            sent |= {head + "length_mm": "20", head + "width_mm": "10", head + "debridement": "before"}
        visits.append([f"/people/{person}/visits/new/", urlencode(sent), sent["submission_key"]])
    some = [lesion.pk for lesion in open_now[:40]]
    reads = [
        "/today/",
        f"/people/?search={quote(seal('Kell'))}",
        *(f"/lesions/{pk}/" for pk in some),
        *(f"/people/{p}/" for p in list(people)[:20]),
    ]
    return {
        "session": session.session_key,
        "visits": visits,
        "reads": reads,
        "tomorrow": str(today + timedelta(days=1)),
    }


def kept(keys: list[str]) -> dict[str, int]:
    """How often each key stands in the database."""
    from clinic.models import Visit

    found = Visit.objects.filter(submission_key__in=keys).values_list("submission_key", flat=True)
    return dict(Counter(str(key) for key in found))


def ask(function: str, value: Any = None) -> Any:
    code = (
        "import sys, json, django; django.setup(); from tests.bench import servers; told = "
        "json.load(sys.stdin);"
        f"print(json.dumps(servers.{function}(*told)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        input=json.dumps([] if value is None else [value]),
        text=True,
        capture_output=True,
        check=False,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "clinic.config.settings"},
    )
    if done.returncode:
        raise SystemExit(done.stderr)
    return json.loads(done.stdout)


def server(port: int, folder: Path) -> subprocess.Popen[bytes]:
    started = subprocess.Popen(
        [
            str(Path(sys.executable).parent / "gunicorn"),
            "clinic.config.wsgi",
            "-b",
            f"127.0.0.1:{port}",
            "-w",
            "1",
            "--threads",
            "4",
            "--log-level",
            "error",
            "--worker-tmp-dir",
            str(folder),
        ],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        env={**os.environ, "DATABASE_POOL": "6"},
    )
    for _ in range(100):
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            connection.request("GET", "/sign-in/")
            if connection.getresponse().status == 200:
                return started
        except OSError:
            time.sleep(0.2)
    raise SystemExit(f"no server on port {port}")


def load(port: int, lua: Path, seconds: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [
            "wrk",
            "-t1",
            "-c4",
            f"-d{seconds}s",
            "--timeout",
            "10s",
            "-s",
            str(lua),
            f"http://127.0.0.1:{port}",
        ],
        stdout=subprocess.PIPE,
        text=True,
    )


class Writer(threading.Thread):
    """Saves one visit after another, over either server; a visit whose server went away is sent to the
    other.
    """

    def __init__(self, visits: list[list[str]], cookie: str, first: int) -> None:
        super().__init__()
        self.visits, self.cookie, self.at = visits, cookie, first
        self.accepted: list[str] = []
        self.refused: list[int] = []
        self.moved = 0

    def run(self) -> None:
        for path, body, key in self.visits:
            for _ in range(20):
                try:
                    connection = http.client.HTTPConnection("127.0.0.1", PORTS[self.at], timeout=20)
                    headers = {
                        "Cookie": self.cookie,
                        "X-CSRFToken": TOKEN,
                        "Content-Type": "application/x-www-form-urlencoded",
                    }
                    connection.request("POST", path, body, headers)
                    answer = connection.getresponse()
                    answer.read()
                except (OSError, http.client.HTTPException):
                    self.at, self.moved = 1 - self.at, self.moved + 1
                    time.sleep(0.1)
                    continue
                signed_out = "/sign-in/" in (answer.getheader("Location") or "")
                if answer.status == 302 and not signed_out:
                    self.accepted.append(key)
                else:
                    self.refused.append(answer.status)
                break
            time.sleep(0.05)


def main() -> None:
    if not shutil.which("wrk"):
        raise SystemExit("wrk is not installed (Debian: apt install wrk)")
    with tempfile.TemporaryDirectory(prefix="servers-") as name:
        folder = Path(name)
        told = ask("prepared")
        cookie = f"sessionid={told['session']}; csrftoken={TOKEN}"
        share = (len(told["visits"]) - WRITERS * WRITES) // 2
        if share < 1:
            raise SystemExit(
                f"{len(told['visits'])} people with an open lesion and no visit today: seed a larger network"
            )
        scripts = []
        for n in range(2):
            reads, writes, lua = (folder / f"{kind}{n}" for kind in ("reads", "writes", "lua"))
            reads.write_text("\n".join(told["reads"]))
            writes.write_text(
                "\n".join(f"{path} {body}" for path, body, _ in told["visits"][n * share : (n + 1) * share])
            )
            lua.write_text(LUA % {"reads": reads, "writes": writes, "cookie": cookie, "token": TOKEN})
            scripts.append(lua)
        running = [server(port, folder) for port in PORTS]
        try:
            loads = [load(port, lua, SECONDS) for port, lua in zip(PORTS, scripts, strict=True)]
            for port, one in zip(PORTS, loads, strict=True):
                out = one.communicate()[0]
                found = re.search(r"RESULT (\d+) ([\d.]+) ([\d.]+) ([\d.]+) (\d+) (\d+)", out)
                print(
                    f"server {port}: "
                    + (
                        "requests {}, {}/s, median {} ms, 95th {} ms, error answers {}, broken {}".format(
                            *found.groups()
                        )
                        if found
                        else out
                    )
                )
            keys = [key for _, _, key in told["visits"][: 2 * share]]
            print(f"visits saved under load: {len(ask('kept', keys))}")
            rest = told["visits"][2 * share :][: WRITERS * WRITES]
            writers = [Writer(rest[n::WRITERS], cookie, n % 2) for n in range(WRITERS)]
            for writer in writers:
                writer.start()
            time.sleep(3)
            os.killpg(running[0].pid, signal.SIGKILL)
            print(
                f"server {PORTS[0]} ended (SIGKILL) with {sum(len(w.accepted) for w in writers)} visits "
                "accepted"
            )
            for writer in writers:
                writer.join()
            accepted = [key for w in writers for key in w.accepted]
            stand = ask("kept", accepted)
            lost = [key for key in accepted if key not in stand]
            twice = [key for key, times in stand.items() if times > 1]
            print(
                f"accepted {len(accepted)} of {len(rest)}, sent on to the other server "
                f"{sum(w.moved for w in writers)} times, "
                f"refused {dict(Counter(s for w in writers for s in w.refused))}, lost {len(lost)}, twice "
                f"{len(twice)}; sessions survived: "
                f"{not any(w.refused for w in writers)}"
            )
        finally:
            for one in running:
                if one.poll() is None:
                    os.killpg(one.pid, signal.SIGTERM)
                    one.wait(20)


if __name__ == "__main__":
    main()
