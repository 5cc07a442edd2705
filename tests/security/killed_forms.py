"""Keyed forms of four kinds, sent while the server is killed, each again under its key until it is answered.

`python -m tests.security.killed_forms [kills] [forms of a kind] [sqlite] [postgresql]` runs it on both, or on
the one named, and prints how many were stored never or twice.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import sys
import tempfile
import threading
import time
import uuid
from datetime import datetime
from pathlib import Path
from queue import Empty, Queue
from urllib.parse import urlencode

from tests.security.killing import CLIENTS, PASSWORD, Place, Server, request

#: Kind of form -> the route, the example that fills it, and the record it stores.
KINDS = {
    "visit": ("visit_new", "covered", "Visit"),
    "referral": ("referral_new", "a_referral", "Referral"),
    "device": ("prescription_new", "a_choice_with_every_answer", "Prescription"),
    "map": ("measured_maps", "a_map_of_the_uncut_insole", "MeasuredMap"),
}
EACH = 12
#: Of so many kills one takes the whole server, the others the process that answers.
WHOLE_EVERY = 20


def tables() -> bool:
    """Made from the models, in a moment: this run asks nothing of the migrations."""
    from django.apps import apps
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection

    from clinic.record import append_only

    settings.MIGRATION_MODULES = {one.label: None for one in apps.get_app_configs()}
    call_command("migrate", run_syncdb=True, verbosity=0)
    append_only.install(connection)
    return True


def prepare(each: str) -> list[dict[str, object]]:
    """A clinic, a podiatrist, and every form filled for a person of its own."""
    from django.db import transaction
    from django.test.utils import setup_test_environment
    from django.urls import reverse

    from clinic.models import User
    from clinic.record.writes import audit
    from tests import factories
    from tests.clinic.fields.test_no_field_is_lost import EXAMPLES

    setup_test_environment()  # an example reads its page as a test does
    site = factories.site()
    by = factories.user("podiatrist", at=site, username="writer", password=PASSWORD)
    scenes = {one.scene.__name__: one for one in EXAMPLES}
    made = []
    for kind, (route, name, model) in KINDS.items():
        for _ in range(int(each)):
            sent = scenes[name].scene(site, by)
            key = str(uuid.uuid4())
            data = {**sent.data, **sent.pressed, "form_key": key}
            if "submission_key" in data:
                data["submission_key"] = key
            pairs = [(n, v) for n, one in data.items() for v in (one if isinstance(one, list) else [one])]
            url = reverse(route, kwargs=sent.to)
            made.append({"kind": kind, "key": key, "url": url, "body": urlencode(pairs), "model": model})
    with transaction.atomic():
        audit.record(by=None, site=site, verb="opened", target=site, also=User.objects.all())
    return made


def held() -> dict[str, object]:
    """Rows of each kind, and when each key got its receipt."""
    from django.apps import apps

    from clinic.models import FormReceipt

    rows = {kind: apps.get_model("clinic", model).objects.count() for kind, (_, _, model) in KINDS.items()}
    receipts: dict[str, list[float]] = {}
    for key, at in FormReceipt.objects.values_list("key", "at"):
        receipts.setdefault(str(key), []).append(at.timestamp())
    return {"rows": rows, "receipts": receipts}


def kill_worker(server: Server) -> None:
    """kill -9 to one of the processes that answer; the master starts another."""
    assert server.process is not None
    pid = server.process.pid
    workers = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    if workers:
        with contextlib.suppress(ProcessLookupError):
            os.kill(int(random.choice(workers)), signal.SIGKILL)


class Sending:
    """Every form sent until its answer names its key; the knife works meanwhile."""

    def __init__(self, server: Server, forms: list[dict[str, str]], kills: int) -> None:
        self.server, self.forms, self.kills = server, forms, kills
        self.up, self.lock = threading.Event(), threading.Lock()
        self.up.set()
        self.answered: dict[str, float] = {}
        self.again, self.refused = 0, []

    def client(self, queue: Queue[dict[str, str]], jar: dict[str, str]) -> None:
        while True:
            try:
                form = queue.get_nowait()
            except Empty:
                return
            while form["key"] not in self.answered:
                self.up.wait(60)
                began = time.time()
                try:
                    pairs = dict(jar)
                    status, heads, _ = request(
                        self.server.port, "POST", form["url"], pairs, body=form["body"]
                    )
                except OSError:
                    self.again += 1
                    time.sleep(0.02)
                    continue
                named = json.loads(heads.get("Form-Stored", "{}")).get("key")
                with self.lock:
                    self.answered[form["key"]] = began
                    if named != form["key"]:
                        self.refused.append((form["kind"], status))

    def knife(self) -> None:
        for n in range(self.kills):
            while len(self.answered) < n * len(self.forms) // (self.kills + 1):
                time.sleep(0.002)
            time.sleep(random.uniform(0, 0.3))
            if n % WHOLE_EVERY == WHOLE_EVERY - 1:
                self.up.clear()
                self.server.kill()
                self.server.start()
                self.up.set()
            else:
                kill_worker(self.server)

    def all(self, jar: dict[str, str]) -> None:
        queue: Queue[dict[str, str]] = Queue()
        for form in random.sample(self.forms, len(self.forms)):
            queue.put(form)
        threads = [threading.Thread(target=self.client, args=(queue, jar)) for _ in range(CLIENTS)]
        threads.append(threading.Thread(target=self.knife))
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()


def signed_in(port: int) -> dict[str, str]:
    cookies: dict[str, str] = {}
    request(port, "GET", "/sign-in/", cookies)
    status, _, _ = request(port, "POST", "/sign-in/", cookies, {"username": "writer", "password": PASSWORD})
    assert status == 302, status
    return cookies


def run(place: Place, kills: int, each: int) -> dict[str, object]:
    place.ask("tables", module="killed_forms")
    forms = place.ask("prepare", str(each), module="killed_forms")
    before = place.ask("held", module="killed_forms")
    assert isinstance(forms, list)
    assert isinstance(before, dict)
    server = Server(place)
    server.start()
    try:
        sending = Sending(server, forms, kills)
        sending.all(signed_in(server.port))
    finally:
        if server.process and server.process.poll() is None:
            server.kill()
    after = place.ask("held", module="killed_forms")
    assert isinstance(after, dict)
    receipts = after["receipts"]
    checked = place.manage("verify_audit")
    return {
        "at": f"{datetime.now():%d %b %Y %H:%M}",
        "forms": len(forms),
        "kills": kills,
        "sendings without an answer": sending.again,
        "stored before the sending that was answered": sum(
            key in receipts and receipts[key][0] < began for key, began in sending.answered.items()
        ),
        "stored never": sum(form["key"] not in receipts for form in forms),
        "receipts twice": sum(len(found) > 1 for found in receipts.values()),
        "rows more or less than forms": {
            kind: after["rows"][kind] - before["rows"][kind] - each for kind in KINDS
        },
        "answered without naming the key": sending.refused,
        "record": (checked.stdout.strip() or checked.stderr.strip())[-300:],
    }


def on_sqlite(kills: int = 100, each: int = EACH) -> dict[str, object]:
    with tempfile.TemporaryDirectory() as held_in:
        folder = Path(held_in)
        return run(Place(folder, f"sqlite:///{folder / 'clinic.sqlite3'}"), kills, each)


def on_postgresql(kills: int = 100, each: int = EACH) -> dict[str, object]:
    from tests.cluster import running

    with tempfile.TemporaryDirectory() as held_in, running() as cluster:
        cluster.sql("CREATE DATABASE killed")
        return run(Place(Path(held_in), cluster.url("app@clinic", "killed")), kills, each)


if __name__ == "__main__":
    chosen = {"sqlite": on_sqlite, "postgresql": on_postgresql}
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    for name, go in chosen.items():
        if name in sys.argv[1:] or not set(chosen) & set(sys.argv[1:]):
            print(name, json.dumps(go(*numbers), indent=1), flush=True)
