"""Which reads may go to a replica, and that settings know one only where it is named."""

import os
import subprocess
import sys

import pytest
from django.db import transaction

from clinic.models import Person
from clinic.replica import ReplicaRouter, from_replica, reading_replica
from clinic.views.audit import audit, audit_cases

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
        "print(sorted(s.DATABASES), getattr(s, 'DATABASE_ROUTERS', []), s.MEDIA_ROOT, s.CACHES['default']['BACKEND'])"
    )
    told = {**os.environ, "VAR_DIR": str(tmp_path), "DATABASE_URL": "postgres://app@127.0.0.1:5998/clinic",
            "DATABASE_REPLICA_URL": url, "MEDIA_DIR": str(tmp_path / "shared"), "CACHE_URL": "dbcache://cache"}  # fmt: skip
    done = subprocess.run([sys.executable, "-c", code], env=told, capture_output=True, text=True, check=True)
    names = "['default', 'replica'] ['clinic.replica.ReplicaRouter']" if url else "['default'] []"
    assert done.stdout.strip() == f"{names} {tmp_path / 'shared'} django.core.cache.backends.db.DatabaseCache"
