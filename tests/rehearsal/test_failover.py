"""Two servers of the program on a database with a standby: one server killed, then the database lost."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass, field
from itertools import cycle
from queue import Empty, Queue
from urllib.parse import quote

import pytest

from tests import cluster
from tests.security import killing

PEOPLE, CLIENTS = "6", 4
LONGEST_SECONDS = 240

pytestmark = pytest.mark.cluster


@dataclass
class Sent:
    """What was accepted, and when; everything else is sent again with the same key."""

    accepted: dict[str, float] = field(default_factory=dict)
    again: int = 0


def address(primary, standby):
    """Both servers of the database: whichever takes writes."""
    both = f"host=127.0.0.1,127.0.0.1&port={primary.port},{standby.port}"
    password = quote(cluster.PASSWORD, safe="")
    return (
        f"postgres://app%40clinic:{password}@/clinic?{both}&target_session_attrs=read-write&connect_timeout=3"
    )


def send(servers, saves, cookies, sent):
    queue: Queue[str] = Queue()
    for key in saves.forms:
        queue.put(key)
    until = time.monotonic() + LONGEST_SECONDS

    def client(jar, first):
        order = cycle([servers[first], servers[1 - first]])
        while True:
            try:
                key = queue.get_nowait()
            except Empty:
                return
            path, form, _ = saves.forms[key]
            while time.monotonic() < until:
                try:
                    status, heads, _ = killing.request(next(order).port, "POST", path, dict(jar), form)
                except OSError:
                    status, heads = 0, {}
                if status == 302 and not heads.get("Location", "").startswith("/sign-in"):
                    sent.accepted[key] = time.monotonic()
                    break
                sent.again += 1
                time.sleep(0.1)

    threads = [threading.Thread(target=client, args=(cookies, n % 2)) for n in range(CLIENTS)]
    for thread in threads:
        thread.start()
    return threads


def wait_for(sent, count):
    until = time.monotonic() + LONGEST_SECONDS
    while len(sent.accepted) < count:
        assert time.monotonic() < until, f"{len(sent.accepted)} accepted, {count} wanted"
        time.sleep(0.05)


def test_nothing_accepted_is_lost_when_a_server_and_then_the_database_goes(tmp_path, record_property):
    with cluster.replicated() as (primary, standby):
        primary.sql("CREATE DATABASE clinic")
        place = killing.Place(tmp_path, address(primary, standby))
        done = place.manage("migrate", "-v0")
        assert done.returncode == 0, done.stderr[-2000:]
        saves = killing.make_saves(place.ask("prepare", PEOPLE))
        servers = [killing.Server(place), killing.Server(place)]
        sent = Sent()
        try:
            for server in servers:
                server.start()
            threads = send(servers, saves, killing.signed_in(servers[0].port), sent)
            wait_for(sent, len(saves.forms) // 3)
            servers[0].kill()
            wait_for(sent, 2 * len(saves.forms) // 3)
            primary.stop("immediate")
            lost_at = time.monotonic()
            before = set(sent.accepted)
            standby.run("pg_ctl", "-D", str(standby.folder / "db"), "-w", "promote")
            for thread in threads:
                thread.join()
        finally:
            for server in servers:
                if server.process and server.process.poll() is None:
                    server.kill()
        stored = place.ask("stored")
        assert set(sent.accepted) == set(saves.forms)
        assert before <= set(stored)
        assert set(stored) == set(saves.forms)
        halves = [
            k for k, row in stored.items() if (row["lengths"], row["audit"]) != ([saves.forms[k][2]], 1)
        ]
        assert not halves
        held = place.manage("verify_audit")
        assert held.returncode == 0, held.stdout
        after = [at - lost_at for key, at in sent.accepted.items() if key not in before]
        figures = {
            "saves": len(stored),
            "accepted before the database was lost": len(before),
            "lost": 0,
            "seconds to the next accepted save": round(min(after), 1),
            "sent again": sent.again,
        }
        record_property("figures", figures)
        print(json.dumps(figures))
