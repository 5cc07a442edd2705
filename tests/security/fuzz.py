"""Hostile values into every form and query string: no fault of the program, no slow outlier, no reflected
markup.

`python -m tests.security.fuzz [COUNT] [SEED]` sends COUNT requests (5,000) on a database of its own and
prints the figures; `make test` sends 400. Forms are read from the pages themselves, so a new field is fuzzed
the day it is made.
"""

from __future__ import annotations

import re
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from html.parser import HTMLParser
from random import Random
from typing import Any

#: The mark that must never come back as markup; as text it comes back escaped.
MARK = '"><zq7x onerror=1>'
SLOW_S = 3.0
VALUES = [
    MARK,
    f"{MARK}'",
    "<script>zq7x</script>",
    "javascript:zq7x",
    "' OR '1'='1",
    '"; DROP TABLE x; --',
    "=cmd|' /C calc'!A0",
    "../../../../etc/passwd",
    "..\\..\\x",
    "%00",
    "a\x00b",
    "\r\nSet-Cookie: zq7x=1",
    "{{7*7}}",
    "{% load static %}",
    "${7*7}",
    "",
    " ",
    "0",
    "-1",
    "1e308",
    "-1e308",
    "NaN",
    "Infinity",
    "99999999999999999999999999",
    "1.7976931348623157e+309",
    "0x10",
    "١٢",
    "½",
    "2026-02-30",
    "0001-01-01",
    "9999-12-31",
    "10000-01-01",
    "2026-13-01T25:61",
    "24:00",
    "null",
    "true",
    "[]",
    "{}",
    "[[1,2],[3]]",
    '{"a":' * 60,
    "[" * 3000,
    "a" * 5000,
    "é\u0301" * 50,
    "\u202e\u200f\ufeff",
    "\ud7ff\ue000",
    "😀" * 40,
    "on",
    "none",
    "1; 2",
    "1,5",
    "not-a-uuid",
    "00000000-0000-0000-0000-000000000000",
]
#: Keys of query strings that pages read, besides any made up.
KEYS = [
    "q",
    "search",
    "site",
    "page",
    "since",
    "until",
    "figure",
    "before",
    "check",
    "person",
    "actor",
    "verb",
    "next",
    "as",
    "device_class",
    "prescriber",
    "trace",
    "view",
    "with",
    "day",
    "number",
    "show",
    "sort",
    "filter",
    "part",
    "plan",
    "version",
    "lesion",
    "kind",
    "state",
    "order",
    "limit",
    "scale",
    "x",
    "y",
]


class Form(HTMLParser):
    """Names of the fields of a page, each with a value that was there."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self._select = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        name = given.get("name") or ""
        if tag == "select":
            self._select = name
        if tag == "option" and self._select:
            self.fields.setdefault(self._select, []).append(given.get("value") or "")
        if tag in ("input", "select", "textarea") and name and name != "csrfmiddlewaretoken":
            self.fields.setdefault(name, []).append(given.get("value") or "")


@dataclass
class Found:
    sent: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    slowest: tuple[float, str] = (0.0, "")
    routes: set[str] = field(default_factory=set)
    fields: set[tuple[str, str]] = field(default_factory=set)


def _judge(found: Found, answer: Any, what: str, took: float) -> None:
    found.sent += 1
    found.statuses[answer.status_code] += 1
    if took > found.slowest[0]:
        found.slowest = (took, what)
    if took > SLOW_S:
        found.faults.append(f"slow, {took:.1f} s: {what}")
    if answer.status_code >= 500:
        found.faults.append(f"{answer.status_code}: {what}")
    if answer.has_header("Set-Cookie") or "zq7x" in str(answer.headers.get("Set-Cookie", "")):
        found.faults.append(f"header split: {what}")
    body = b"" if answer.streaming else answer.content
    kind = answer.headers.get("Content-Type", "")
    if ("html" in kind or "svg" in kind) and re.search(rb"<zq7x|<script>zq7x|href=.?javascript:zq7x", body):
        found.faults.append(f"reflected markup: {what}")


def attack(client: Any, addresses: dict[str, str], count: int, rng: Random, found: Found) -> None:
    """Send `count` requests to these named addresses: half query strings, half forms."""
    forms: dict[str, dict[str, list[str]]] = {}
    names = sorted(addresses)
    while count > 0:
        name = rng.choice(names)
        path = addresses[name]
        found.routes.add(name)
        if name not in forms:
            answer = client.get(path)
            html = "html" in answer.headers.get("Content-Type", "") and not answer.streaming
            forms[name] = Form(answer.content.decode()).fields if html else {}
        if rng.random() < 0.5 or not forms[name]:
            keys = rng.sample([*KEYS, *forms[name], "zq7x"], k=rng.randint(1, 4))
            sent = {key: rng.choice(VALUES) for key in keys}
            method = "get"
        else:
            good = {key: rng.choice(values) for key, values in forms[name].items()}
            bad = rng.sample(sorted(good), k=rng.randint(1, max(1, len(good) // 3)))
            sent = {**good, **{key: rng.choice(VALUES) for key in bad}}
            for key in rng.sample(sorted(good), k=rng.randint(0, len(good) // 3)):
                sent.pop(key)
            method = "post"
            found.fields |= {(name, key) for key in bad}
        began = time.perf_counter()
        answer = getattr(client, method)(path, sent)
        short = {key: value[:40] for key, value in sent.items()}
        _judge(found, answer, f"{method} {name} {short!r}"[:600], time.perf_counter() - began)
        count -= 1


def real_plan_and_photo(site: Any) -> dict[str, Any]:
    """The rows of the access sweep hold an empty plan and no picture; pages that compute need real ones."""
    import io

    from django.test import Client
    from django.utils import timezone
    from PIL import Image

    from clinic.capture.writes.photos import photo_store
    from clinic.models import LimbPlan, PhotoConsent
    from tests import factories
    from tests.clinic.relief.views.test_relief import bench_url, numbers

    person = factories.person(at=site)
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person, side="right", foot_breadth_mm=98)
    lesion = factories.lesion(on=limb, place="mth_2")
    podiatrist = factories.user("podiatrist", at=site)
    client = Client()
    client.force_login(podiatrist)
    client.post(bench_url(limb), {**numbers(lesion), "action": "save"})
    PhotoConsent.objects.create(person=person, given_on="2020-01-01", created_by=factories.author())
    out = io.BytesIO()
    Image.new("RGB", (320, 240), "tan").save(out, "JPEG")
    upload = io.BytesIO(out.getvalue())
    photo = photo_store(by=podiatrist, lesion=lesion, taken_on=timezone.localdate(), upload=upload)
    return {
        "code": LimbPlan.objects.get(limb=limb).plan.code,
        "photo": photo.pk,
        "person": person.pk,
        "limb": limb.pk,
        "lesion": lesion.pk,
    }


def targets() -> list[tuple[str, Any, dict[str, str]]]:
    """(role, signed-in client, its addresses) for each role; the records behind them are of one site."""
    from django.test import Client

    from clinic.access import ABILITIES
    from tests import factories
    from tests.test_access import ROLES, ROUTES, address, records

    site = factories.site()
    row = records(site)
    row |= real_plan_and_photo(site)
    made = []
    for role in ROLES:
        client = Client(raise_request_exception=False)
        client.force_login(factories.user(role, at=site))
        open_to = {
            name: address(name, row)
            for name, (_, ability) in ROUTES.items()
            if role in ABILITIES[ability] and name not in ("switch_user", "sign_out_other")
        }
        made.append((role, client, open_to))
    stranger = Client(raise_request_exception=False)
    from django.urls import reverse

    made.append(
        (
            "nobody",
            stranger,
            {
                "login": reverse("login"),
                "account_link": reverse("account_link", args=["x"]),
                "health": "/health/",
            },
        )
    )
    return made


def run(count: int, seed: int) -> Found:
    rng, found = Random(seed), Found()
    parts = targets()
    for number, (_, client, addresses) in enumerate(parts):
        share = count // 50 if number == len(parts) - 1 else (count - count // 50) // (len(parts) - 1)
        attack(
            client,
            addresses,
            share + (count - found.sent - share if number == len(parts) - 1 else 0),
            rng,
            found,
        )
    return found


def _main() -> None:
    import os

    os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.config.settings_test"
    import django

    django.setup()
    from django.test.runner import DiscoverRunner
    from django.test.utils import setup_test_environment

    setup_test_environment()
    import logging

    logging.disable(logging.CRITICAL)
    runner = DiscoverRunner(verbosity=0, interactive=False)
    made = runner.setup_databases()
    try:
        count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
        seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20261125
        found = run(count, seed)
    finally:
        runner.teardown_databases(made)
    print(
        f"{found.sent} requests, seed {seed}, {len(found.routes)} routes, {len(found.fields)} fields of forms"
    )
    print(f"answers: {dict(sorted(found.statuses.items()))}")
    print(f"slowest {found.slowest[0]:.2f} s: {found.slowest[1][:120]}")
    for fault in found.faults[:40]:
        print(fault)
    print(f"{len(found.faults)} faults")
    sys.exit(bool(found.faults))


if __name__ == "__main__":
    _main()
