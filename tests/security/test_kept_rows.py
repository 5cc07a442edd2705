"""The record answers for itself: what was altered, removed, slipped in, moved or cut off is found and
named.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys

import pytest
from cryptography.fernet import Fernet
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.accounts.writes.verification import verify
from clinic.models import AuditEvent, PersonKey, Site, User, ViewBatch, ViewEvent
from clinic.people.writes.people import weight_add
from clinic.record import append_only
from clinic.record.writes import audit
from clinic.record.writes import read_log as reads
from clinic.rules.writes.house_rules import TELEPHONES
from tests import factories
from tests.migrated import copy_into
from tests.security import killing
from tests.test_repository import ROOT


@pytest.fixture(autouse=True)
def _digest_folder(settings, tmp_path):
    settings.DIGEST_DIR = tmp_path


@pytest.fixture
def chain(site, staff):
    """Seven rows of one site, told of one person."""
    person = factories.person(at=site)
    for n in range(7):
        with transaction.atomic():
            audit.record(by=staff, site=site, verb="weighed", target=person, person=person, kg=80 + n)
    return list(AuditEvent.objects.filter(site_id=site.pk).order_by("sequence"))


def found():
    """What the check says of chain, reads and digest file; rows and triggers are the tests' own here."""
    of_the_chain = re.compile(r"clinic_auditevent|clinic_view|(line \d+ of )?heads\.jsonl")
    return [fault.words for fault in verify() if of_the_chain.match(fault.words)]


def named(*words):
    return any(all(one in fault for one in words) for fault in found())


def test_an_untouched_chain_holds(chain):
    digests.write()
    assert found() == []


@pytest.mark.parametrize(
    "column",
    ["payload", "actor", "actor_role", "verb", "target_kind", "target_id", "person_id", "at", "digest"],
)
def test_tampering_an_altered_row_is_named(chain, column):
    row = chain[3]
    new = {"person_id": row.person_id + 1, "at": timezone.now()}.get(column, f"{getattr(row, column)}x"[-60:])
    AuditEvent.objects.filter(pk=row.pk).update(**{column: new})
    assert named(f"row 4 of site {row.site_id}, ", "was altered")


def test_tampering_a_deleted_row_is_named(chain):
    AuditEvent.objects.filter(pk=chain[2].pk).delete()
    assert named(f"row 3 of site {chain[2].site_id} is missing")


def test_tampering_an_inserted_row_is_named(chain):
    """A row slipped in between, with a digest that is right by itself: the one after it no longer follows."""
    AuditEvent.objects.filter(pk=chain[6].pk).delete()
    for row in reversed(chain[4:6]):
        AuditEvent.objects.filter(pk=row.pk).update(sequence=row.sequence + 1)
    forged = AuditEvent(
        site_id=chain[0].site_id,
        sequence=5,
        at=timezone.now(),
        actor="nobody",
        actor_role="staff",
        verb="weighed",
        target_kind="person",
        target_id="1",
        payload="{}",
        previous_digest=chain[3].digest,
    )
    forged.digest = audit.digest_of(forged)
    forged.save()
    assert named(f"row 6 of site {chain[0].site_id}, ", "does not follow the row before it")


def test_tampering_two_rows_that_changed_places_are_named(chain):
    a, b = chain[1], chain[4]
    AuditEvent.objects.filter(pk=a.pk).update(sequence=999)
    AuditEvent.objects.filter(pk=b.pk).update(sequence=a.sequence)
    AuditEvent.objects.filter(pk=a.pk).update(sequence=b.sequence)
    for number in (2, 5):
        assert named(f"row {number} of site {a.site_id}, ", "was altered")


def test_tampering_a_cut_tail_is_named_by_the_daily_digest(chain):
    digests.write()
    AuditEvent.objects.filter(sequence__gte=6).delete()
    site_id = chain[0].site_id
    assert list(audit.faults(site_id)) == []  # the chain alone cannot see it
    assert any(f"rows 6 to 7 of site {site_id} are cut off" in fault for fault in found())


def test_tampering_a_tail_cut_and_written_anew_is_named_too(chain, site, staff):
    digests.write()
    AuditEvent.objects.filter(sequence__gte=6).delete()
    for _ in range(3):
        with transaction.atomic():
            audit.record(by=staff, site=site, verb="weighed", target=site)
    assert any(f"row 7 of site {site.pk} is not the one of" in fault for fault in found())


def test_tampering_with_the_digest_file_is_named(chain):
    digests.write()
    digests.write()
    lines = digests.path().read_text().splitlines()
    first = json.loads(lines[0])
    first["rows"] = 2
    digests.path().write_text("\n".join([json.dumps(first), *lines[1:]]) + "\n")
    assert any("line 1 of heads.jsonl was altered" in fault for fault in found())


def test_a_page_of_a_record_leaves_one_row_in_the_log_of_reads(as_staff, staff, person):
    as_staff.get(reverse("person", args=[person.pk]))
    row = ViewEvent.objects.get()
    assert (row.person_id, row.actor_id, row.page, row.glass_id) == (person.pk, staff.pk, "person", None)
    as_staff.get(reverse("person", args=[person.pk + 1000]))
    assert ViewEvent.objects.count() == 1
    as_staff.get(reverse("people"))
    assert ViewEvent.objects.filter(person_id=None, listed=f",{person.pk},").count() == 1


def test_reads_are_bound_in_batches_and_tampering_with_them_is_named(as_staff, person, site):
    for _ in range(4):
        as_staff.get(reverse("person", args=[person.pk]))
    assert reads.batch(site.pk).rows == 4
    assert reads.batch(site.pk) is None
    as_staff.get(reverse("person", args=[person.pk]))
    assert reads.batch(site.pk).sequence == 2
    assert found() == []
    rows = list(ViewEvent.objects.order_by("pk"))
    ViewEvent.objects.filter(pk=rows[1].pk).update(actor="Somebody Else")
    assert any("a read between" in fault and f"site {site.pk}" in fault for fault in found())
    ViewEvent.objects.filter(pk=rows[1].pk).delete()
    assert any("has 3 rows" in fault for fault in found())


def test_a_read_that_cannot_be_logged_is_still_shown_and_is_told_to_the_log(
    as_staff, person, monkeypatch, caplog
):
    def broken(**_):
        raise DatabaseError("disk is full")

    monkeypatch.setattr("clinic.record.writes.read_log.note", broken)
    assert as_staff.get(reverse("person", args=[person.pk])).status_code == 200
    assert "a read could not be logged" in caplog.text


@pytest.mark.parametrize("statement", ["UPDATE {t} SET {c} = {c}", "DELETE FROM {t}"])
def test_the_database_refuses_to_alter_or_remove_kept_rows(append_only, person, staff, site, statement):
    with transaction.atomic():
        weight_add(by=staff, person=person, kg=81, measured_on=timezone.localdate(), how="scales")
    reads.note(by=staff, seen=[(person.pk, site.pk, None)], page="person")
    reads.batch(site.pk)
    for table, column in (
        ("clinic_auditevent", "verb"),
        ("clinic_viewevent", "page"),
        ("clinic_viewbatch", "digest"),
        ("clinic_historicalweight", "kg"),
    ):
        with (
            pytest.raises(DatabaseError, match="append-only"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement.format(t=table, c=column))


def test_no_trigger_is_missing_once_installed_and_a_dropped_one_is_named(append_only_names):
    assert append_only_names == ["clinic_auditevent_no_delete"]


@pytest.fixture
def append_only_names(append_only):
    from clinic.record import append_only as module

    assert module.missing(connection) == []
    on = "" if connection.vendor == "sqlite" else " ON clinic_auditevent"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER clinic_auditevent_no_delete{on}")
    return module.missing(connection)


def manage(*words, folder, **more):
    clean = {k: v for k, v in os.environ.items() if k not in {"DJANGO_SETTINGS_MODULE", "DIGEST_DIR"}}
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={
            **clean,
            "VAR_DIR": str(folder),
            "DATABASE_URL": f"sqlite:///{folder / 'clinic.sqlite3'}",
            **more,
        },
    )


OPENING = (
    "--no-input",
    "--name",
    "Elm Street clinic",
    "--short-name",
    "elm",
    "--manager-username",
    "first",
    "--manager-first-name",
    "First",
    "--manager-last-name",
    "Manager",
)
NUMBERS = {f"--{name.replace('_', '-')}": f"000 {n}000" for n, name in enumerate(TELEPHONES, 1)}


@pytest.mark.parametrize("lacking", [*NUMBERS, "all", "words"])
def test_no_clinic_opens_without_a_number_for_each_urgency_and_hour(db, lacking):
    given = {option: number for option, number in NUMBERS.items() if option != lacking and lacking != "all"}
    if lacking == "words":
        given["--telephone-planned-in-hours"] = "reception"
    assert len(NUMBERS) == 7
    with pytest.raises(CommandError, match="is no telephone number"):
        call_command("open_clinic", *OPENING, *(word for pair in given.items() for word in pair))
    assert not Site.objects.exists()
    assert not User.objects.exists()


def test_a_migrated_database_stands_with_its_triggers_and_a_clinic_opens_in_it(tmp_path, migrated):
    copy_into(tmp_path, migrated)
    done = manage(
        "open_clinic", *OPENING, *(word for pair in NUMBERS.items() for word in pair), folder=tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert "/account-link/" in done.stdout
    assert manage("digest_chain", folder=tmp_path).returncode == 0
    held = manage("verify_audit", folder=tmp_path)
    assert held.returncode == 0, held.stdout
    assert "the chain holds, 2 rows" in held.stdout  # opened, and its digest anchored
    assert "marrowbeck" not in done.stdout
    assert (
        manage(
            "demo", folder=tmp_path, PRODUCTION="1", SECRET_KEY="k" * 60, ALLOWED_HOSTS="x.example"
        ).returncode
        == 1
    )


def test_a_database_with_data_goes_up_from_the_first_migration_and_keeps_every_row(tmp_path):
    """Nothing is released yet; from the first release on its migration is the one to start from here."""
    place = killing.Place(tmp_path, f"sqlite:///{tmp_path / 'clinic.sqlite3'}")
    for app in (["otp_totp"], ["clinic", "0001"]):
        assert place.manage("migrate", *app, "-v0").returncode == 0
    people = place.ask("prepare", "5")
    held = place.manage("verify_audit")
    assert held.returncode == 1
    assert "trigger clinic_auditevent_no_delete is missing" in held.stdout
    up = place.manage("migrate", "-v0")
    assert up.returncode == 0, up.stderr
    assert place.manage("verify_audit").returncode == 0
    kept = sqlite3.connect(tmp_path / "clinic.sqlite3")
    assert kept.execute("SELECT count(*) FROM clinic_person").fetchone()[0] == len(people) == 5
    with pytest.raises(sqlite3.DatabaseError, match="append-only"):
        kept.execute("DELETE FROM clinic_historicalperson")


def test_the_payload_of_a_person_is_sealed_and_readable_only_with_its_key(chain):
    assert "80" not in chain[0].payload
    assert json.loads(chain[0].detail)["kg"] == 80
    PersonKey.objects.all().delete()
    assert json.loads(AuditEvent.objects.get(pk=chain[0].pk).detail) == {"erased": True}
    assert found() == []


def test_a_key_made_at_the_same_moment_elsewhere_is_kept(site, staff, person, monkeypatch):
    one = audit.sealed_for("one", audit._key_of(person))
    with monkeypatch.context() as other:
        # The look for a key came before the other's was there.
        other.setattr("django.db.models.query.QuerySet.first", lambda rows: None)
        two = audit.sealed_for("two", audit._key_of(person))
    key = Fernet(PersonKey.objects.get().key)
    assert [key.decrypt(text.encode()) for text in (one, two)] == [b"one", b"two"]
    audit.record(by=staff, site=site, verb="looked", target=person, person=person, kg=80)
    assert json.loads(AuditEvent.objects.get().detail)["kg"] == 80


def test_the_first_row_of_a_chain_and_one_of_nobody_are_bound_too(site, staff, person):
    for told in ({"target": site}, {"target": staff}, {"target": person, "person": person}):
        audit.record(by=staff, site=site, verb="looked", **told)
    rows = list(AuditEvent.objects.order_by("sequence"))
    assert [row.sequence for row in rows] == [1, 2, 3]
    assert [row.previous_digest for row in rows] == ["", rows[0].digest, rows[1].digest]
    newest = [target.history.order_by("history_id").last().history_id for target in (site, person)]
    assert [json.loads(row.detail).get("history_id") for row in rows] == [newest[0], None, newest[1]]
    assert found() == []


def test_batches_of_reads_have_no_gap(site, staff, person):
    for _ in range(3):
        reads.note(by=staff, seen=[(person.pk, site.pk, None)], page="person")
        reads.batch(site.pk)
    ViewBatch.objects.filter(sequence=2).delete()
    assert any("batch 2 of the reads" in fault for fault in found())


def test_every_history_table_is_held(db):
    tables = {table for table, _ in append_only._tables(__import__("django.apps", fromlist=["apps"]).apps)}
    with connection.cursor() as cursor:
        kept = {t for t in connection.introspection.table_names(cursor) if t.startswith("clinic_historical")}
    assert kept
    assert kept <= tables
