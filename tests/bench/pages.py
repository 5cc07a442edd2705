"""Pages and saves beside the least that a web program could do: its own statements, and nothing else.

A page is asked through the server's own door (WSGI), with the real middlewares and without the test client, which copies
every template's context. Beside it stand two bare views without middlewares, access, forms, templates or model
instances, answering as many bytes. Both run every statement of the page, the row of the log of reads included. *By the
ORM*: the page's own query objects are compiled, run and read as tuples of Python values, as `values_list` would;
putting the queries together is not counted. *As text*: the finished SQL is handed to the connection and its rows are
fetched unconverted. Bare INSERTs are the text of a save's own INSERTs (visit, measurement, their history copies, audit
row, the person's key) in one committed transaction.
"""

from __future__ import annotations

import gc
import io
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from statistics import median
from typing import Any
from urllib.parse import quote

from django.core import signals
from django.core.cache import cache
from django.core.handlers.wsgi import WSGIHandler, WSGIRequest
from django.core.management.color import no_style
from django.db import close_old_connections, connection, transaction
from django.db.models.sql import AggregateQuery, Query
from django.db.models.sql.compiler import SQLCompiler
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import path, reverse
from django.utils import timezone

from clinic.models import Lesion, Measurement, User, Visit
from clinic.sealed_words import seal
from clinic.services.measurement import LesionFindings
from clinic.services.visits import PersonFindings, visit_log
from tests import factories

from .rows import Row

PEOPLE, VISITS, SAVES, REPEATS = 100, 12, 30, 15


class _Watched:
    """What the page that was watched asked, in words and as query objects, and what it answered."""

    texts: list[str] = []
    queries: list[tuple[Query, str]] = []
    body = b""


def as_text(request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        for sql in _Watched.texts:
            cursor.execute(sql)
            if cursor.description:
                cursor.fetchall()
    return HttpResponse(_Watched.body)


def by_orm(request: HttpRequest) -> HttpResponse:
    for query, kind in _Watched.queries:
        compiler = query.chain().get_compiler("default")
        if kind == "multi":
            list(compiler.results_iter(tuple_expected=True))
        else:
            compiler.execute_sql(kind)
    with connection.cursor() as cursor:
        for sql in _Watched.texts:
            if not sql.startswith("SELECT"):
                cursor.execute(sql)
    return HttpResponse(_Watched.body)


urlpatterns = [path("text/", as_text), path("orm/", by_orm)]


@contextmanager
def watching() -> Iterator[None]:
    """Take down every statement that runs inside, and the query object of each that reads."""
    _Watched.queries = []
    plain = SQLCompiler.execute_sql

    def execute(self: Any, result_type: str = "multi", *args: Any, **kwargs: Any) -> Any:
        if type(self.query) in (Query, AggregateQuery):
            _Watched.queries.append((self.query.chain(), result_type))
        return plain(self, result_type, *args, **kwargs)

    SQLCompiler.execute_sql = execute
    try:
        with CaptureQueriesContext(connection) as watched:
            yield
    finally:
        SQLCompiler.execute_sql = plain
    _Watched.texts = [q["sql"] for q in watched.captured_queries]


@contextmanager
def one_connection() -> Iterator[None]:
    """Keep the connection from one request to the next, for our page and for the bare ones."""
    signals.request_started.disconnect(close_old_connections)
    signals.request_finished.disconnect(close_old_connections)
    try:
        yield
    finally:
        signals.request_started.connect(close_old_connections)
        signals.request_finished.connect(close_old_connections)


class BareRequest(WSGIRequest):
    """A request that only knows the bare views."""

    urlconf = __name__


class BareHandler(WSGIHandler):
    request_class = BareRequest


def asking(
    url: str, client: Client | None = None, handler: type[WSGIHandler] = WSGIHandler
) -> Callable[[], bytes]:
    """One request through WSGI; the answer must be a page."""
    place, _, query = url.partition("?")
    cookies = "; ".join(f"{name}={kept.value}" for name, kept in client.cookies.items()) if client else ""
    told = RequestFactory()._base_environ(PATH_INFO=place, QUERY_STRING=query, HTTP_COOKIE=cookies)  # type: ignore[attr-defined]
    server = handler()

    def ask() -> bytes:
        said: list[str] = []
        answer = server({**told, "wsgi.input": io.BytesIO()}, lambda status, headers: said.append(status))
        body = b"".join(answer)
        answer.close()
        if said != ["200 OK"]:
            raise AssertionError(f"{url} answered {said}")
        return body

    return ask


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


def by_turns(*works: Callable[[], object], repeats: int = REPEATS) -> list[float]:
    """Least time of each [s], run by turns so that a busy machine is busy for all of them."""
    least = [float("inf")] * len(works)
    for _ in range(repeats + 1):
        for n, work in enumerate(works):
            gc.collect()
            start = time.perf_counter()
            work()
            least[n] = min(least[n], time.perf_counter() - start)
    return least


def page(name: str, client: Client, url: str, size: str) -> Iterator[Row]:
    ask = asking(url, client)
    ask()
    cache.clear()
    with watching():
        _Watched.body = ask()
    size = f"{size}, {len(_Watched.texts)} statements"

    with override_settings(MIDDLEWARE=[]):
        orm, text = asking("/orm/", handler=BareHandler), asking("/text/", handler=BareHandler)
    with one_connection():
        if not orm() == text() == _Watched.body:
            raise AssertionError("a bare view did not answer")
        ours, least, fewest = by_turns(ask, orm, text)
    yield Row(name, size, ours, "bare view, same queries by the ORM", least, False)
    yield Row(name, size, ours, "bare view, same SQL as text", fewest, False)


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


def inserts_of(work: Callable[[], object]) -> list[str]:
    with undone(), CaptureQueriesContext(connection) as watched:
        work()
    # PostgreSQL does not take numbers back: the rows must get the ones they point at.
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_sql(no_style(), [Visit, Measurement]):
            cursor.execute(sql)
    return [q["sql"] for q in watched.captured_queries if q["sql"].startswith("INSERT")]


def save(by: User, lesions: list[Lesion]) -> Row:
    """A visit through its service, and its INSERT statements alone, by turns; each in a committed transaction."""
    ours, theirs, counts = [], [], set()
    visit_of(by, lesions[-1])()
    for mine, other in zip(lesions[:SAVES], lesions[SAVES : 2 * SAVES], strict=True):
        work = visit_of(by, mine)
        start = time.perf_counter()
        work()
        ours.append(time.perf_counter() - start)
        # Afterwards: their place in the audit chain is the next free one now.
        inserts = inserts_of(visit_of(by, other))
        counts.add(len(inserts))
        start = time.perf_counter()
        with transaction.atomic(), connection.cursor() as cursor:
            for sql in inserts:
                cursor.execute(sql)
        theirs.append(time.perf_counter() - start)
    return Row(
        "visit saved, checked, audited",
        f"median of {SAVES}, {'/'.join(map(str, sorted(counts)))} rows each",
        median(ours),
        "bare INSERTs of the same rows",
        median(theirs),
        False,
    )


def rows() -> Iterator[Row]:
    by, lesions = clinic()
    client, lead = Client(), Client()
    client.force_login(by)
    lead.force_login(factories.user("manager", at=by.sites.get()))
    size = f"{PEOPLE} people, {PEOPLE * VISITS:,} visits"
    yield from page("Today", client, reverse("today"), size)
    yield from page("review list", client, reverse("review"), size)
    yield from page("people search", client, f"{reverse('people')}?search={quote(seal('a'))}", size)
    yield from page(
        "lesion page", client, reverse("lesion", args=[lesions[3].pk]), f"{VISITS} visits of one lesion"
    )
    yield from page("audit home", lead, reverse("audit"), size)
    yield save(by, lesions)
