"""Which reads may go to a replica, and that settings know one only where it is named."""

import os
import subprocess
import sys

import pytest
from django.db import connections, transaction
from django.db.utils import DEFAULT_DB_ALIAS, DatabaseError
from django.test import override_settings
from django.utils import timezone

from clinic.audit.views.audit import audit, audit_cases
from clinic.config.replica import REPLICA, ReplicaRouter, from_replica, reading_replica
from clinic.models import Person
from tests import factories

ROUTER = ReplicaRouter()


@pytest.mark.django_db(transaction=True)
def test_only_what_says_so_reads_there_and_never_inside_a_transaction():
    assert ROUTER.db_for_read(Person) is None
    with reading_replica():
        assert ROUTER.db_for_read(Person) == "replica"
        with transaction.atomic():
            assert ROUTER.db_for_read(Person) is None
        assert ROUTER.db_for_write(Person) == "default"
    assert ROUTER.db_for_read(Person) is None


def test_a_view_that_fails_leaves_nobody_reading_there():
    @from_replica
    def broken(request):
        raise RuntimeError(ROUTER.db_for_read(Person))

    with pytest.raises(RuntimeError):
        broken(None)
    assert ROUTER.db_for_read(Person) is None


def test_a_replica_is_never_migrated():
    assert ROUTER.allow_migrate("replica", "clinic") is False
    assert ROUTER.allow_migrate("default", "clinic") is None


def test_the_heavy_pages_of_the_audit_may_read_there():
    assert audit.__wrapped__
    assert audit_cases.__wrapped__


@pytest.mark.parametrize("url", ["", "postgres://reader@127.0.0.1:5999/clinic"])
def test_settings_know_a_replica_only_where_one_is_named(url, tmp_path):
    code = (
        "from clinic.config import settings as s; "
        "print(sorted(s.DATABASES), getattr(s, 'DATABASE_ROUTERS', []), s.MEDIA_ROOT, "
        "s.CACHES['default']['BACKEND'])"
    )
    told = {
        **os.environ,
        "VAR_DIR": str(tmp_path),
        "DATABASE_URL": "postgres://app@127.0.0.1:5998/clinic",
        "DATABASE_REPLICA_URL": url,
        "MEDIA_DIR": str(tmp_path / "shared"),
        "CACHE_URL": "dbcache://cache",
    }
    done = subprocess.run([sys.executable, "-c", code], env=told, capture_output=True, text=True, check=True)
    names = "['default', 'replica'] ['clinic.config.replica.ReplicaRouter']" if url else "['default'] []"
    assert done.stdout.strip() == f"{names} {tmp_path / 'shared'} django.core.cache.backends.db.DatabaseCache"


@pytest.fixture
def replica(transactional_db):
    """The same data by a second connection that the database itself lets only read."""
    own = connections[DEFAULT_DB_ALIAS]
    told = {**own.settings_dict, "OPTIONS": dict(own.settings_dict["OPTIONS"])}
    if own.vendor == "sqlite":
        told["OPTIONS"]["init_command"] = "PRAGMA query_only=ON;"
    else:
        told["OPTIONS"]["options"] = "-c default_transaction_read_only=on"
        told["OPTIONS"].pop("pool", None)
    connections.settings[REPLICA] = told
    # Tests forbid opening what they were not told of; this one is theirs.
    connections[REPLICA].connect()
    with override_settings(DATABASE_ROUTERS=["clinic.config.replica.ReplicaRouter"]):
        yield connections[REPLICA]
    connections[REPLICA].close()
    del connections[REPLICA]
    del connections.settings[REPLICA]


def noting(where):
    def note(execute, asked, params, many, context):
        where.append(asked)
        return execute(asked, params, many, context)

    return note


def test_the_audit_pages_are_answered_by_a_database_that_can_only_be_read(
    replica, as_manager, podiatrist, site
):
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    factories.prescription(
        of=lesion.limb, lesions=[lesion], signed_by=podiatrist, fitted_on=timezone.localdate()
    )
    with pytest.raises(DatabaseError):
        Person.objects.using(REPLICA).update(given_name="Other")
    with pytest.raises(DatabaseError), replica.cursor() as cursor:
        cursor.execute("DELETE FROM clinic_measurement")
    for url in ("/audit/", "/audit/cases/?figure=all", "/audit/completeness/"):
        here, there = [], []
        with (
            connections[DEFAULT_DB_ALIAS].execute_wrapper(noting(here)),
            replica.execute_wrapper(noting(there)),
        ):
            answer = as_manager.get(url)
        assert answer.status_code == 200
        assert any("clinic_prescription" in sql or "clinic_visit" in sql for sql in there)
        # Who asks, and the log of what was read, stay where they are written.
        clinical = ("clinic_prescription", "clinic_lesion", "clinic_measurement", "clinic_visit")
        assert not [sql for sql in here if any(f'FROM "{table}"' in sql for table in clinical)]


def test_who_just_wrote_reads_where_it_was_written(replica, as_podiatrist, site):
    person = factories.person(at=site)
    there = []
    with replica.execute_wrapper(noting(there)):
        assert as_podiatrist.get(f"/people/{person.pk}/").status_code == 200
        assert as_podiatrist.get("/today/").status_code == 200
    assert there == []


@pytest.mark.postgres
def test_more_threads_than_pooled_connections_wait_their_turn(tmp_path):
    """Eight threads on two connections: all are served, and the server never sees a third."""
    code = (
        "import django; django.setup()\n"
        "from concurrent.futures import ThreadPoolExecutor\n"
        "from django.db import connection\n"
        "def work(n):\n"
        "    with connection.cursor() as cursor:\n"
        '        cursor.execute("SELECT pg_sleep(0.05), (SELECT count(*) FROM pg_stat_activity WHERE '
        "application_name = 'pooled')\")\n"
        "        count = cursor.fetchone()[1]\n"
        "    connection.close()\n"
        "    return count\n"
        "with ThreadPoolExecutor(8) as pool:\n"
        "    counts = list(pool.map(work, range(40)))\n"
        "print(len(counts), max(counts))\n"
        "connection.close_pool()"
    )
    told = {
        **os.environ,
        "VAR_DIR": str(tmp_path),
        "DATABASE_POOL": "2",
        "PGAPPNAME": "pooled",
        "DJANGO_SETTINGS_MODULE": "clinic.config.settings",
    }
    done = subprocess.run([sys.executable, "-c", code], env=told, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["40", "2"], done.stderr
