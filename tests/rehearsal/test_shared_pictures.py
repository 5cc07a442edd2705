"""Two servers share PostgreSQL and an object store; one is killed while photographs are sent."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from datetime import date
from itertools import cycle
from queue import Empty, Queue

import pytest
import requests
from PIL import Image

from tests import cluster
from tests.object_store import store_running
from tests.security import killing

PHOTOS, CLIENTS, LONGEST_SECONDS = 40, 4, 180

pytestmark = pytest.mark.cluster


@dataclass
class SharedPlace(killing.Place):
    """A place whose pictures lie in the object store."""

    store: dict[str, str] = field(default_factory=dict)

    def env(self, **more: str) -> dict[str, str]:
        return super().env(**{**self.store, **more})


def prepare_photos(people: str) -> list[dict[str, int]]:
    """People with one open lesion and a standing consent to photos."""
    from django.utils import timezone

    from clinic.capture.writes.photos import consent_give
    from clinic.models import Lesion, User

    made = killing.prepare(people)
    for one in made:
        person = Lesion.objects.get(pk=one["lesion"]).limb.person
        consent_give(by=User.objects.get(username="writer"), person=person, given_on=timezone.localdate())
    return made


def stored_photos() -> list[dict[str, object]]:
    from clinic.models import AuditEvent, Photo

    added = list(
        AuditEvent.objects.filter(verb="added", target_kind="photo").values_list("target_id", flat=True)
    )
    return [
        {"pk": photo.pk, "note": photo.note, "sha256": photo.sha256, "audit": added.count(str(photo.pk))}
        for photo in Photo.objects.order_by("pk")
    ]


def ask(place, function, *words):
    code = (
        "import os, sys, json, django; os.environ['DJANGO_SETTINGS_MODULE'] = 'clinic.config.settings';"
        "django.setup(); from tests.rehearsal import test_shared_pictures as here; "
        f"print(json.dumps(here.{function}(*sys.argv[1:])))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=killing.ROOT,
        env=place.env(),
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout.splitlines()[-1])


def picture(number):
    out = io.BytesIO()
    Image.effect_noise((320 + number, 240), 60).convert("RGB").save(out, "JPEG")
    return out.getvalue()


def send(servers, work, cookies, accepted, again):
    until = time.monotonic() + LONGEST_SECONDS

    def client(first):
        order = cycle([servers[first], servers[1 - first]])
        while True:
            try:
                note, lesion, content = work.get_nowait()
            except Empty:
                return
            while time.monotonic() < until:
                form = {
                    "taken_on": date.today().isoformat(),
                    "note": note,
                    "csrfmiddlewaretoken": cookies["csrftoken"],
                }
                try:
                    answer = requests.post(
                        f"http://127.0.0.1:{next(order).port}/lesions/{lesion}/photos/new/",
                        form,
                        files={"photo": ("wound.jpg", content, "image/jpeg")},
                        cookies=cookies,
                        allow_redirects=False,
                        timeout=20,
                    )
                    if answer.status_code == 302 and "sign-in" not in answer.headers["Location"]:
                        accepted[note] = time.monotonic()
                        break
                except requests.RequestException:
                    pass
                again.append(note)
                time.sleep(0.1)

    threads = [threading.Thread(target=client, args=(n % 2,)) for n in range(CLIENTS)]
    for thread in threads:
        thread.start()
    return threads


def test_no_accepted_photograph_is_lost_when_one_of_two_servers_is_killed(tmp_path, record_property):
    with cluster.running() as database, store_running() as store:
        database.sql("CREATE DATABASE clinic")
        place = SharedPlace(tmp_path, database.url("app@clinic", "clinic"), store.environment)
        done = place.manage("migrate", "-v0")
        assert done.returncode == 0, done.stderr[-2000:]
        people = ask(place, "prepare_photos", "8")
        work: Queue = Queue()
        for number in range(PHOTOS):
            work.put((f"photo {number}", people[number % len(people)]["lesion"], picture(number)))
        servers = [killing.Server(place), killing.Server(place)]
        accepted, again = {}, []
        try:
            for server in servers:
                server.start()
            cookies = killing.signed_in(servers[0].port)
            threads = send(servers, work, cookies, accepted, again)
            until = time.monotonic() + LONGEST_SECONDS
            while len(accepted) < PHOTOS // 3:
                assert time.monotonic() < until, f"{len(accepted)} accepted"
                time.sleep(0.02)
            servers[0].kill()
            before = set(accepted)
            for thread in threads:
                thread.join()
            stored = ask(place, "stored_photos")
            read = {}
            for row in stored:
                answer = requests.get(
                    f"http://127.0.0.1:{servers[1].port}/photos/{row['pk']}/file/",
                    cookies=cookies,
                    timeout=20,
                )
                read[row["note"]] = answer.status_code, hashlib.sha256(answer.content).hexdigest()
        finally:
            for server in servers:
                if server.process and server.process.poll() is None:
                    server.kill()
        assert set(accepted) == {f"photo {number}" for number in range(PHOTOS)}
        assert before <= {row["note"] for row in stored}
        assert sorted(row["note"] for row in stored) == sorted(accepted), "each once"
        assert all(row["audit"] == 1 for row in stored)
        assert all(read[row["note"]] == (200, row["sha256"]) for row in stored), "read from the other server"
        assert not list(tmp_path.rglob("*.jpg")), "no picture on the servers' own disk"
        held = place.manage("verify_audit")
        assert held.returncode == 0, held.stdout
        figures = {
            "photographs": len(stored),
            "accepted before the kill": len(before),
            "lost": 0,
            "sent again": len(again),
        }
        record_property("figures", figures)
        print(json.dumps(figures))
