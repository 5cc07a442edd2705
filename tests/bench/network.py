"""The pages of one clinic alone and among many, the audit of all beside one statement written by hand,
and seeding.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.core.cache import cache
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.figures import ALL_BASES
from clinic.audit.reads.page import audit_report
from clinic.models import Lesion, Person, Site, User, Weight
from clinic.record.sealed_words import seal

from .bulk import Bulk
from .invented import Sizes, seed
from .rows import Row, best

#: Clinics besides the one that is measured alone first, and people of each.
SITES = int(os.environ.get("BENCH_SITES", "199"))
PEOPLE = int(os.environ.get("BENCH_PEOPLE", "100"))
REPEATS = 9
ROWS = 10_000
BY_HAND = (Path(__file__).parent / "audit.sql").read_text()


def sizes(sites: int) -> Sizes:
    return Sizes(sites, PEOPLE * sites, PEOPLE * sites * 3 // 2, 20 * PEOPLE * sites)


def quiet(done: int, rows: int) -> None:
    """The bench has its own lines."""


def pages(site: Site) -> dict[str, tuple[Client, str]]:
    clients = {}
    for role in ("podiatrist", "staff"):
        clients[role] = Client()
        clients[role].force_login(site.members.filter(role=role)[0])
    lead, podiatrist, staff = Client(), clients["podiatrist"], clients["staff"]
    lead.force_login(User.objects.get(username="network-manager"))
    lesion = Lesion.objects.filter(limb__person__site=site, state="open").order_by("pk").first()
    if lesion is None:
        raise AssertionError("the seeded clinic has no open lesion")
    return {
        "Today": (staff, f"/today/?site={site.pk}"),
        "review list": (podiatrist, f"/review/?site={site.pk}"),
        "people search": (staff, f"/people/?site={site.pk}&search={quote(seal('Kell'))}"),
        "lesion page": (staff, f"/lesions/{lesion.pk}/"),
        "audit home, one clinic": (lead, f"/audit/?site={site.pk}"),
        "cases of a figure": (lead, f"/audit/cases/?site={site.pk}&figure=to_device.by_7"),
        "completeness": (lead, f"/audit/completeness/?site={site.pk}"),
    }


def timed(site: Site) -> dict[str, float]:
    cache.clear()
    found = {}
    for name, (client, url) in pages(site).items():
        if client.get(url).status_code != 200:
            raise AssertionError(f"{url} did not answer")
        found[name] = best(lambda client=client, url=url: client.get(url), REPEATS)
    return found


def seeded(sites: int, number: int, today: date) -> tuple[int, float]:
    start = time.perf_counter()
    return seed(sizes(sites), number, today, quiet), time.perf_counter() - start


class _Undone(Exception):
    pass


def bulk(size: str, today: date) -> Row:
    """Weights written as the seed writes them, and by Django's own bulk_create; taken back both times."""
    person = Person.objects.order_by("pk").first()
    if person is None:
        raise AssertionError("nobody is seeded")
    same = {"how": "scales", "created_by_id": person.created_by_id}

    def undone(write: Callable[[], object]) -> None:
        try:
            with transaction.atomic():
                write()
                raise _Undone
        except _Undone:
            pass

    def ours() -> None:
        table = Bulk(Weight, ("person", "measured_on", "kg"), created_at=timezone.now(), **same)
        for _ in range(ROWS):
            table.add(person.pk, today, 82.5)
        table.flush()

    def django() -> None:
        Weight.objects.bulk_create(
            Weight(person_id=person.pk, measured_on=today, kg=Decimal("82.5"), **same) for _ in range(ROWS)
        )

    return Row(
        "rows written in bulk",
        size,
        best(lambda: undone(ours)),
        f"bulk_create, {ROWS:,} rows",
        best(lambda: undone(django)),
        True,
    )


def asked(today: date) -> AuditFilter:
    return AuditFilter(
        tuple(Site.objects.order_by("pk")), today - timedelta(days=365), today, everywhere=True
    )


def by_hand(asked: AuditFilter, today: date) -> dict[str, Any]:
    with connection.cursor() as cursor:
        cursor.execute(BY_HAND, {"since": asked.since, "until": asked.until, "today": today})
        answer: dict[str, Any] = cursor.fetchone()[0]
    return answer


def check(asked: AuditFilter, today: date) -> None:
    """The statement and the program count the same rows, or a ratio would mean nothing."""
    told = by_hand(asked, today)
    for name, base in ALL_BASES.items():
        if name in ("departed", "gap"):
            continue
        ours = base.rows(asked, today).order_by().values_list(*base.apart)
        counted: dict[tuple[Any, ...], int] = {}
        for row in ours:
            counted[row] = counted.get(row, 0) + 1
        theirs: dict[tuple[Any, ...], int] = {}
        for row in told[name] or ():
            key = tuple(row[column] for column in base.apart)
            theirs[key] = theirs.get(key, 0) + row["n"]
        if counted != theirs:
            odd = set(counted.items()) ^ set(theirs.items())
            raise AssertionError(f"{name}: the two counts differ, e.g. {sorted(odd, key=str)[:4]}")
    report = audit_report(asked, today)
    gap = told["gap"][0]
    if (gap["bare_days"], gap["days"]) != report.uncovered or gap["bare_ulcers"] != report.gap.count:
        raise AssertionError("gap: the two counts differ")
    if [row["n"] for row in told["reused"] or ()] != [row.figure.count for row in report.reused]:
        raise AssertionError("reused: the two counts differ")
    days = sum(row["days"] for row in told["worn"])
    if abs(days / 7 - report.device_weeks) > 1e-9:
        raise AssertionError("device-weeks: the two counts differ")


def rows() -> Iterator[Row]:
    today = timezone.localdate()
    before = set(Site.objects.values_list("pk", flat=True))
    seeded(1, 7, today)
    site = Site.objects.exclude(pk__in=before).get()
    alone = timed(site)
    written, spent = seeded(SITES, 8, today)
    size = f"{SITES + 1} clinics, {PEOPLE * (SITES + 1):,} people"
    yield bulk(f"{size}: {written:,} rows at {written / spent:,.0f} a second", today)
    for name, now in timed(site).items():
        yield Row(name, size, now, f"one clinic, {PEOPLE} people", alone[name], False)
    if connection.vendor == "postgresql":
        what = asked(today)
        check(what, today)
        yield Row(
            "audit of all clinics",
            f"{size}, figures only",
            best(lambda: audit_report(what, today)),
            "one statement by hand",
            best(lambda: by_hand(what, today)),
            False,
        )
