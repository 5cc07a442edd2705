"""The pages of one clinic alone and of the same clinic among 200, asked in turn, so that both meet the same
machine.

`python -m tests.bench.at_size postgres://…/one postgres://…/many`, two databases that
`tests.bench.seed_network` filled from one seed: the first clinic is the same in both. Nothing is written but
what a page view writes. One process a database asks its pages in turn; prints median, 95th, number of queries
and both ratios, then the audit of all beside one statement.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = int(os.environ.get("ROUNDS", "40"))
#: Of the audit of all clinics and of the statement by hand.
LONG_ROUNDS = max(1, ROUNDS // 8)
NETWORK = "audit home, all clinics"


def answered() -> None:
    """One database: reads `[name, requests]` a line, answers the times [s]; no requests: its number of
    queries.
    """
    import django

    django.setup()
    from django.db import connection
    from django.test.utils import setup_test_environment
    from django.utils import timezone

    from clinic.audit.reads.page import audit_report
    from clinic.models import Person, Site

    from . import network
    from .__main__ import machine

    setup_test_environment(debug=False)
    today = timezone.localdate()
    site = Site.objects.order_by("pk")[0]
    asked_pages = network.pages(site)
    lead = asked_pages["audit home, one clinic"][0]
    asked_pages[NETWORK] = (lead, "/audit/?site=all")
    work: dict[str, Callable[[], Any]] = {}
    for name, (client, url) in asked_pages.items():

        def page(client: Any = client, url: str = url) -> None:
            if client.get(url).status_code != 200:
                raise AssertionError(f"{url} did not answer")

        work[name] = page
    asked = network.asked(today)
    work["figures"] = lambda: audit_report(asked, today)
    work["by hand"] = lambda: network.by_hand(asked, today)

    def told(value: Any) -> None:
        sys.stdout.write(json.dumps(value) + "\n")
        sys.stdout.flush()

    told({"machine": machine(), "sites": Site.objects.count(), "people": Person.objects.count()})
    for line in sys.stdin:
        name, requests = json.loads(line)
        if name == "same rows":
            network.check(asked, today)
            told(True)
        elif requests:
            times = []
            for _ in range(requests):
                start = time.perf_counter()
                work[name]()
                times.append(time.perf_counter() - start)
            told(times)
        else:
            count = 0

            def counting(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
                nonlocal count
                count += 1
                return execute(sql, params, many, context)

            with connection.execute_wrapper(counting):
                work[name]()
            told(count)


class Asked:
    """The process of one database."""

    def __init__(self, url: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from tests.bench.at_size import answered; answered()"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "clinic.config.settings"},
        )
        self.told: dict[str, Any] = self.answer()

    def answer(self) -> Any:
        if self.process.stdout is None:
            raise AssertionError("no pipe")
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit("the process of a database ended; is it seeded?")
        return json.loads(line)

    def ask(self, name: str, requests: int = 0) -> Any:
        if self.process.stdin is None:
            raise AssertionError("no pipe")
        self.process.stdin.write(json.dumps([name, requests]) + "\n")
        self.process.stdin.flush()
        return self.answer()


def place(times: list[float], share: float) -> float:
    """A time that so large a share of the times does not exceed [ms]."""
    return 1e3 * sorted(times)[min(len(times) - 1, int(share * len(times)))]


def main() -> None:
    one, many = (Asked(url) for url in sys.argv[1:3])
    print(many.told["machine"])
    for side in (one, many):
        print("{sites:,} clinics, {people:,} people".format(**side.told))
    names = [
        "Today",
        "review list",
        "people search",
        "lesion page",
        "audit home, one clinic",
        "cases of a figure",
        "completeness",
    ]
    alone: dict[str, list[float]] = {name: [] for name in names}
    among: dict[str, list[float]] = {name: [] for name in names}
    for name in names:
        for side in (one, many):
            side.ask(name, 2)
    for _ in range(ROUNDS):
        for name in names:
            alone[name] += one.ask(name, 1)
            among[name] += many.ask(name, 1)
    print(f"{ROUNDS} requests a page and side, one and one in turn; times in ms")
    print(f"{'page':26}{'queries':>8}{'median':>9}{'95th':>9}{'alone':>9}{'ratio':>7}{'of bests':>10}")
    for name in names:
        a, b = alone[name], among[name]
        ratio, bests = place(b, 0.5) / place(a, 0.5), min(b) / min(a)
        # The session is written once a minute: the fewest of three are those of the page.
        counts = [min(side.ask(name) for _ in range(3)) for side in (one, many)]
        queries = f"{counts[1]}" if counts[0] == counts[1] else f"{counts[1]} ({counts[0]} alone)"
        print(
            f"{name:26}{queries:>8}{place(b, 0.5):9.1f}{place(b, 0.95):9.1f}"
            f"{place(a, 0.5):9.1f}{ratio:7.2f}{bests:10.2f}"
        )
    many.ask("same rows")
    page, figures, hand = [], [], []
    many.ask(NETWORK, 1)
    for _ in range(LONG_ROUNDS):
        page += many.ask(NETWORK, 1)
        figures += many.ask("figures", 1)
        hand += many.ask("by hand", 1)
    print(f"{NETWORK:26}{many.ask(NETWORK):>8}{place(page, 0.5):9.0f}{place(page, 0.95):9.0f}")
    for name, times in (("page", page), ("figures only", figures)):
        print(
            f"  {name} over one statement by hand ({place(hand, 0.5):.0f} ms): "
            f"{place(times, 0.5) / place(hand, 0.5):.2f}, of bests {min(times) / min(hand):.2f}"
        )


if __name__ == "__main__":
    main()
