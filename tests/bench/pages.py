"""Pages and saves beside the least that a web program could do: its own queries, and nothing else."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal

from django.core.cache import cache
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import path, reverse
from django.utils import timezone

from clinic.models import Lesion, User
from clinic.services.measurement import LesionFindings
from clinic.services.visits import PersonFindings, visit_log
from tests import factories

from .rows import Row, best

PEOPLE, VISITS, SAVES = 100, 12, 30

_queries: list[str] = []
_body = b""


def replay(request: HttpRequest) -> HttpResponse:
    """Run the queries of the page that was watched, fetch their rows and answer as many bytes."""
    with connection.cursor() as cursor:
        for sql in _queries:
            cursor.execute(sql)
            cursor.fetchall()
    return HttpResponse(_body)


urlpatterns = [path("bare/", replay)]


def clinic() -> tuple[User, list[Lesion]]:
    """A site with people in care, each with one open lesion measured weekly and a device."""
    site = factories.site(name="Bench clinic")
    by = factories.user("podiatrist", at=site)
    lesions = []
    today = timezone.localdate()
    with transaction.atomic():
        for n in range(PEOPLE):
            person = factories.person(at=site)
            factories.weight(of=person, on=today - timedelta(days=10))
            lesion = factories.lesion(
                on=factories.limb(of=person), first_seen_on=today - timedelta(weeks=VISITS, days=n % 7)
            )
            shrink = 0.85 + 0.14 * (n % 10) / 10
            areas = [round(6.0 * shrink**k, 2) for k in range(VISITS)]
            factories.series(lesion, areas, last=today - timedelta(days=1 + n % 7))
            factories.prescription(of=lesion.limb, lesions=[lesion])
            lesions.append(lesion)
    return by, lesions


def page(name: str, client: Client, url: str, size: str) -> Row:
    """One page over a view without templates, forms, access or middleware that runs the same reading queries."""
    global _queries, _body
    client.get(url)
    cache.clear()
    with CaptureQueriesContext(
        connection,
    ) as watched:
        answer = client.get(url)
    if answer.status_code != 200:
        raise AssertionError(f"{url} answered {answer.status_code}")
    _queries = [q["sql"] for q in watched.captured_queries if q["sql"].lstrip().upper().startswith("SELECT")]
    _body = answer.content
    ours = best(lambda: client.get(url), 15)
    with override_settings(ROOT_URLCONF=__name__, MIDDLEWARE=[]):
        bare = Client()
        if bare.get("/bare/").content != _body:
            raise AssertionError("the bare view did not answer")
        theirs = best(lambda: bare.get("/bare/"), 15)
    return Row(name, f"{size}, {len(_queries)} queries", ours, "bare view, same queries", theirs, False)


class _Undone(Exception):
    pass


@contextmanager
def undone() -> Iterator[None]:
    """Take back what is written inside."""
    try:
        with transaction.atomic():
            yield
            raise _Undone
    except _Undone:
        pass


def visit_of(by: User, lesion: Lesion) -> Callable[[], object]:
    today = timezone.localdate()
    found = PersonFindings(visited_on=today, next_on=today + timedelta(days=7), pain="none", wear="most")
    findings = [
        LesionFindings(
            lesion, length_mm=Decimal("14.0"), width_mm=Decimal("9.0"), debridement="before", depth="skin"
        )
    ]
    return lambda: visit_log(
        by=by, person=lesion.limb.person, submission_key=uuid.uuid4(), found=found, lesions=findings
    )


def save(by: User, lesions: list[Lesion]) -> Row:
    """A visit through its service, and its INSERT statements alone; each in a committed transaction of its own."""
    ours, theirs, counts = [], [], set()
    for lesion in lesions[:SAVES]:
        work = visit_of(by, lesion)
        start = time.perf_counter()
        work()
        ours.append(time.perf_counter() - start)
    for lesion in lesions[SAVES : 2 * SAVES]:
        with undone(), CaptureQueriesContext(connection) as watched:
            visit_of(by, lesion)()
        inserts = [
            q["sql"] for q in watched.captured_queries if q["sql"].lstrip().upper().startswith("INSERT")
        ]
        counts.add(len(inserts))
        start = time.perf_counter()
        with transaction.atomic(), connection.cursor() as cursor:
            for sql in inserts:
                cursor.execute(sql)
        theirs.append(time.perf_counter() - start)
    return Row(
        "visit saved, checked, audited",
        f"median of {SAVES}, {'/'.join(map(str, sorted(counts)))} rows each",
        sorted(ours)[SAVES // 2],
        "bare INSERTs of the same rows",
        sorted(theirs)[SAVES // 2],
        False,
    )


def rows() -> Iterator[Row]:
    by, lesions = clinic()
    client = Client()
    client.force_login(by)
    yield page("Today", client, reverse("today"), f"{PEOPLE} people, {PEOPLE * VISITS:,} visits")
    yield page(
        "lesion page", client, reverse("lesion", args=[lesions[3].pk]), f"{VISITS} visits of one lesion"
    )
    yield save(by, lesions)
