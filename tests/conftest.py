"""Shared fixtures: one site with a user of each role, and clients signed in as them."""

from __future__ import annotations

import os
import shutil

# Small matrices: threads of the linear algebra library only get in each other's way. Before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

from tests import cluster, factories
from tests.coarse import plans_kept_coarsely
from tests.in_flight import InFlight
from tests.migrated import migrated_once
from tests.processor_time import ProcessorTime

# The one profile of every `@given`; a test asks for another number of examples at most. No deadline and no
# `too_slow`: both measure the machine, which others load, and not the test. The other health checks speak of
# the strategy and stay. In CI the same commit gives the same examples; elsewhere they are new each time, and
# a failing one is kept and printed.
settings.register_profile(
    "clinic",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CI")),
    print_blob=True,
)
settings.load_profile("clinic")

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
# Playwright's synchronous interface keeps an event loop running in the test's thread.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


def pytest_configure(config):
    config.pluginmanager.register(ProcessorTime(config), "processor_time")


def program_path(name):
    """Where a program of the machine stands; those of its keeper are not on everybody's path."""
    return shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")


def pytest_addoption(parser):
    parser.addoption(
        "--only-database",
        action="store_true",
        help="leave out the tests that say nothing new on another database: those that ask none, and those "
        "marked `any_database`",
    )
    parser.addoption(
        "--whole", action="store_true", help="also the cases that `make validate` leaves out for their time"
    )


def asks_database(item):
    if item.get_closest_marker("cluster"):
        return False  # it starts servers of its own, whatever the run's database is
    marks = any(item.get_closest_marker(name) for name in ("django_db", "postgres"))
    return marks or bool({"db", "transactional_db"} & set(item.fixturenames))


def pytest_collection_modifyitems(config, items):
    """Deselect, with a printed line, what needs a program this machine lacks; under CI that is an error."""
    wanted_oracle = "oracle" in (config.getoption("-m") or "")
    missing = {
        "browser": None if CHROMIUM else "Chromium is not installed",
        "postgres": None
        if os.environ.get("DATABASE_URL", "").startswith("postgres")
        else "DATABASE_URL names no PostgreSQL",
        "cluster": None if cluster.PROGRAMS else "PostgreSQL's server programs are not installed",
        "oracle": None if wanted_oracle else "only `make validate` compares with the heavy libraries",
    }
    keep, dropped = [], {}
    for item in items:
        reason = next(
            (f"{m}: {why}" for m, why in missing.items() if why and item.get_closest_marker(m)), None
        )
        program = item.get_closest_marker("program")
        if program and not program_path(program.args[0]):
            reason = f"program: {program.args[0]} is not installed"
        if item.get_closest_marker("whole") and not config.getoption("whole"):
            reason = "whole: only `pytest -m oracle --whole` takes the time"
        if config.getoption("only_database"):
            if not asks_database(item):
                reason = "no database is asked"
            elif told := item.get_closest_marker("any_database"):
                reason = f"any database: {told.args[0]}"
        if reason is None:
            keep.append(item)
        else:
            dropped.setdefault(reason, []).append(item)
    if dropped:
        items[:] = keep
        config.hook.pytest_deselected(items=[i for group in dropped.values() for i in group])
        config.stash[_dropped] = {reason: len(group) for reason, group in dropped.items()}


_dropped = pytest.StashKey[dict[str, int]]()


def pytest_terminal_summary(terminalreporter, config):
    for reason, count in config.stash.get(_dropped, {}).items():
        terminalreporter.write_line(f"{count} deselected, {reason}")


def pytest_sessionstart(session):
    if os.environ.get("CI") and not CHROMIUM:
        pytest.exit("CI needs Chromium for the browser tests", returncode=3)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": [
            *(["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []),
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
        ],
    }


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """Tests tamper with kept rows and flush tables; `append_only` puts the database's triggers back for
    one test.
    """
    from django.db import connection

    from clinic.record.append_only import drop

    with django_db_blocker.unblock():
        drop(connection)


@pytest.fixture(scope="session")
def migrated(tmp_path_factory):
    """A SQLite file that `migrate` made from nothing; copy it, do not change it."""
    own = tmp_path_factory.getbasetemp()
    return migrated_once(own.parent if os.environ.get("PYTEST_XDIST_WORKER") else own)


@pytest.fixture(scope="module")
def one_world(django_db_setup, django_db_blocker):
    """For a fixture of module scope: the rows it makes stand for every test of the module, and what a test
    does to them is taken back after it. Not for a test with transactions of its own.
    """
    from django.db import transaction

    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture
def append_only(db):
    """The triggers of the migration, for this test's transaction."""
    from django.db import connection

    from clinic.record.append_only import install

    install(connection)


@pytest.fixture(scope="session")
def in_flight():
    return InFlight()


@pytest.fixture(autouse=True)
def answered(request, in_flight):
    """The tables are emptied after a browser's test once its last request is answered: what a late answer
    writes, such as its row in the log of reads, stood in the record of the next test.
    """
    if "live_server" not in request.fixturenames:
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    assert in_flight.over(), "a request of this test is still being answered"


@pytest.fixture(autouse=True)
def coarse_pressure(request, monkeypatch):
    """Plans are kept with 10 mm cells and no alternatives, but where a test is about the pressure itself."""
    if request.node.get_closest_marker("full_pressure") is None:
        plans_kept_coarsely(monkeypatch)


@pytest.fixture
def site(db):
    return factories.site(name="Alder Lane clinic")


@pytest.fixture
def other_site(db):
    return factories.site(name="Birch Road clinic")


@pytest.fixture
def staff(site):
    return factories.user("staff", at=site)


@pytest.fixture
def podiatrist(site):
    return factories.user("podiatrist", at=site)


@pytest.fixture
def manager(site):
    return factories.user("manager", at=site)


def _signed_in(user):
    # Imported late: settings come first.
    from tests.pages import PageClient

    client = PageClient()
    client.force_login(user)
    return client


@pytest.fixture
def as_staff(staff):
    return _signed_in(staff)


@pytest.fixture
def as_podiatrist(podiatrist):
    return _signed_in(podiatrist)


@pytest.fixture
def as_manager(manager):
    return _signed_in(manager)


@pytest.fixture
def person(site):
    return factories.person(at=site)
