"""What checking the whole record takes at a size: `python -m tests.bench.verifying [ROWS]`.

A few people of the invented clinic are played through the services; then their rows are written again and
again under other numbers, copies and chain hashed anew by the functions that the check itself uses, until the
database has that many rows. `BENCH_DATABASE_URL=postgres://…` runs it there. Plans, pictures and the read log
are left out: what they cost grows with files, not with rows.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import tempfile
import time
import uuid
from pathlib import Path
from typing import Any

PEOPLE = 6
#: Numbers of the second writing begin here, of the third at twice this; no table of the played clinic has
#: so many rows.
STEP = 100_000
AT_ONCE = 2_000
#: One row of each is written again for each person; what else hangs on a person is left out.
NOUNS = (
    "person",
    "limb",
    "episode",
    "lesion",
    "visit",
    "measurement",
    "weight",
    "prescription",
    "event",
    "contact",
)


def _models() -> list[Any]:
    from django.apps import apps

    nouns = [apps.get_model("clinic", noun) for noun in NOUNS]
    return [*nouns, *(noun.history.model for noun in nouns)]


class Again:
    """The rows of the played people, and how one of them reads under other numbers."""

    def __init__(self) -> None:
        from clinic.models import AuditEvent, PersonKey

        self.models = _models()
        self.nouns = set(self.models[: len(NOUNS)])
        self.rows = {model: list(model._base_manager.order_by("pk")) for model in self.models}
        self.keys = list(PersonKey.objects.all())
        self.events = list(AuditEvent.objects.filter(person_id__isnull=False).order_by("sequence"))

    def _moved(self, model: Any, row: Any, by: int) -> Any:
        values = {}
        for field in model._meta.concrete_fields:
            value = getattr(row, field.attname)
            if field.primary_key or field.attname == "id":
                value += by
            elif field.is_relation and field.related_model in self.nouns:
                value = value and value + by
            elif field.is_relation and field.null and field.related_model._meta.label_lower not in SHARED:
                value = None
            elif isinstance(value, uuid.UUID):
                value = uuid.uuid5(value, str(by))
            elif field.attname in ("record_number", "hospital_number", "study_number") and value:
                value = f"{value}-{by // STEP}"
            values[field.attname] = value
        return model(**values)

    def write(self, time_: int, sequence: int, digest: str) -> tuple[int, int, str]:
        """Rows written, and the end of the chain after them."""
        from clinic.demo.packed import insert_rows
        from clinic.models import AuditEvent, PersonKey
        from clinic.record.writes import seals
        from clinic.record.writes.audit import digest_of
        from clinic.record.writes.canonical import canonical

        by, count = time_ * STEP, 0
        sealed: dict[tuple[str, int], tuple[int, str]] = {}
        keys = [PersonKey(person_id=key.person_id + by, key=key.key) for key in self.keys]
        PersonKey.objects.bulk_create(keys)
        for model in self.models:
            moved = [self._moved(model, row, by) for row in self.rows[model]]
            insert_rows(moved)
            count += len(moved)
            if model in self.nouns:
                continue
            columns, name = seals.columns_of(model), model._meta.model_name
            for row in moved:
                values = [getattr(row, column) for column in columns]
                lists: list[list[Any]] = [[] for _ in getattr(model, "_history_m2m_fields", ())]
                sealed[name, row.history_id] = (row.id, seals.copy_digest(model, values, lists))
        events = []
        for event in self.events:
            entries = []
            for name, _, copy, columns, _ in json.loads(event.sealed):
                found = copy is not None and sealed.get((name, copy + by))
                if found:
                    entries.append([name, found[0], copy + by, columns, found[1]])
            sequence += 1
            again = AuditEvent(
                **{
                    field.attname: getattr(event, field.attname)
                    for field in AuditEvent._meta.concrete_fields
                    if not field.primary_key
                }
            )
            again.sequence, again.previous_digest = sequence, digest
            again.person_id = event.person_id + by
            again.sealed = canonical(entries)
            again.digest = digest = digest_of(again)
            events.append(again)
        AuditEvent.objects.bulk_create(events, batch_size=AT_ONCE)
        return count + len(events) + len(keys), sequence, digest


SHARED = {"clinic.user", "clinic.site"}


def rows_of_tables() -> int:
    from django.apps import apps

    models = [model for app in ("clinic", "offload") for model in apps.get_app_config(app).get_models()]
    return sum(model._base_manager.count() for model in models)


def grow(rows: int) -> int:
    """Write the played people again until the database has so many rows; how many it has."""
    from django.db import transaction

    from clinic.models import AuditEvent

    again = Again()
    end = AuditEvent.objects.order_by("-sequence").values_list("sequence", "digest").first()
    assert end is not None
    sequence, digest = end
    have, number = rows_of_tables(), 0
    while have < rows:
        with transaction.atomic():
            for _ in range(50):
                number += 1
                more, sequence, digest = again.write(number, sequence, digest)
                have += more
    return have


def measured(rows: int) -> str:
    """One line of the table: rows, chain rows, seconds of the check, its differences, the most memory."""
    from clinic.accounts.writes import digests
    from clinic.accounts.writes.verification import verify
    from clinic.models import AuditEvent

    began = time.monotonic()
    have = grow(rows)
    wrote = time.monotonic() - began
    digests.write()
    began = time.monotonic()
    found = list(verify(full=True))
    whole = time.monotonic() - began
    began = time.monotonic()
    daily = list(verify(full=False))
    day = time.monotonic() - began
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    for fault in [*found, *daily][:5]:
        print(fault.words, file=sys.stderr)
    return (
        f"| {have:,} | {AuditEvent.objects.count():,} | {wrote:.0f} | {whole:.0f} | "
        f"{1e6 * whole / have:.0f} | {day:.1f} | {len(found)} + {len(daily)} | {used} |"
    )


def main() -> None:
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    print(
        "| rows | of the chain | s to write | s whole check | s a million rows | s daily part | faults | MB |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory(prefix="verifying-") as folder:
        print(_one(size, Path(folder)))


def _one(size: int, folder: Path) -> str:
    os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.config.settings_test"
    os.environ["PYTEST_DB"] = str(folder / "verifying.sqlite3")
    os.environ["VAR_DIR"] = str(folder)
    unused = f"sqlite:///{folder / 'unused.sqlite3'}"
    os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", unused)

    import django

    django.setup()
    from django.test.utils import setup_databases, teardown_databases

    databases = setup_databases(verbosity=0, interactive=False)
    try:
        from django.db import connection

        from clinic.record.append_only import install
        from tests.security.played import play_clinic

        install(connection)
        play_clinic(PEOPLE)
        return measured(size)
    finally:
        teardown_databases(databases, verbosity=0)


if __name__ == "__main__":
    main()
