"""Kill -9, a full disk, a database that is gone and back, a clock that steps back: what is kept and what
is shown.
"""

from __future__ import annotations

import errno
import io
import os
import uuid
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.db import OperationalError, connection, transaction
from django.db.backends.utils import CursorWrapper
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clinic.capture.writes.photos import photo_store
from clinic.models import AuditEvent, Photo, PhotoConsent, Visit, Weight
from clinic.record.errors import Refused
from clinic.record.writes import audit
from tests import factories
from tests.migrated import copy_into
from tests.security import killing


@pytest.fixture(autouse=True)
def _small(monkeypatch):
    monkeypatch.setattr(killing, "PEOPLE", 12)
    monkeypatch.setattr(killing, "DAYS", 4)


def judge(told):
    assert told["chain holds"], told["chain"]
    assert told["accepted and not stored"] == []
    # Sent again after an answer that never came, it is named as stored as well.
    assert told["accepted and not named"] == []
    assert told["half stored"] == []
    assert told["stored twice"] == 0
    assert told["refused"] == {}
    assert told["stored in the end"] == told["sent"]


def run(place, tmp_path, kills, *, empty):
    archive = tmp_path / "under-load.tar"
    told = killing.run(place, kills=kills, backup_to=archive, empty=empty)
    judge(told)
    assert archive.exists()
    return archive


def restored(archive, place):
    """A backup taken while visits were saved and workers killed restores to one consistent point."""
    done = place.manage("restore", str(archive))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "the chain holds" in done.stdout
    for row in place.ask("stored").values():
        assert len(row["lengths"]) == 1
        assert (row["audit"], row["copies"]) == (1, 1)


def test_kill_9_while_visits_are_saved_loses_nothing_accepted_on_sqlite(tmp_path, migrated):
    place = killing.Place(tmp_path / "live", f"sqlite:///{tmp_path / 'live' / 'clinic.sqlite3'}")
    copy_into(place.folder, migrated)
    archive = run(place, tmp_path, kills=2, empty=False)
    restored(archive, killing.Place(tmp_path / "again", f"sqlite:///{tmp_path / 'again' / 'clinic.sqlite3'}"))


@pytest.mark.postgres
def test_kill_9_while_visits_are_saved_loses_nothing_accepted_on_postgresql(tmp_path):
    url = os.environ["DATABASE_URL"]
    with killing.OwnPostgres(url) as live:
        archive = run(killing.Place(tmp_path / "live", live), tmp_path, kills=2, empty=True)
    with killing.OwnPostgres(url) as again:
        restored(archive, killing.Place(tmp_path / "again", again))


def form(**more):
    return {
        "submission_key": str(uuid.uuid4()),
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": "none",
        "next_in": "m3",
        "note": "Typed for a long time.",
        **more,
    }


@pytest.fixture
def quiet(staff):
    """A client that shows the page of the fault instead of raising it in the test."""
    client = Client(raise_request_exception=False)
    client.force_login(staff)
    return client


def test_the_database_gone_and_back_keeps_the_typed_text_and_stores_once(quiet, person, monkeypatch):
    url, sent = reverse("visit_new", args=[person.pk]), form()

    def gone(*_a, **_k):
        raise OperationalError("server closed the connection unexpectedly")

    with monkeypatch.context() as broken:
        broken.setattr("django.db.backends.utils.CursorWrapper.execute", gone)
        answer = quiet.post(url, sent)
    page = answer.content.decode()
    assert answer.status_code == 503
    assert answer["Retry-After"]
    for value in (sent["submission_key"], "Typed for a long time.", sent["visited_on"]):
        assert f'value="{value}"' in page
    assert f'action="{url}"' in page
    assert quiet.post(url, sent).status_code == 302
    assert quiet.post(url, sent).status_code == 302
    assert Visit.objects.filter(person=person).count() == 1


@contextmanager
def full_disk(monkeypatch):
    """SQLite may not grow by a page more; of PostgreSQL, the error with which it refuses to extend a
    table.
    """
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            # Pages freed by the tests before would hold the row: none are left after this.
            cursor.execute("VACUUM")
            cursor.execute("PRAGMA page_count")
            cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA max_page_count = 1073741823")
        return

    execute = CursorWrapper.execute

    def refuse(self, sql, params=None):
        if str(sql).startswith('INSERT INTO "clinic_auditevent"'):
            raise OperationalError("could not extend file: No space left on device")
        return execute(self, sql, params)

    with monkeypatch.context() as patched:
        patched.setattr("django.db.backends.utils.CursorWrapper.execute", refuse)
        yield


@pytest.mark.django_db(transaction=True)
def test_a_full_disk_is_said_and_nothing_is_half_stored(monkeypatch):
    site = factories.site()
    person = factories.person(at=site)
    client = Client(raise_request_exception=False)
    client.force_login(factories.user("staff", at=site))
    client.get(reverse("visit_new", args=[person.pk]))
    with full_disk(monkeypatch):
        answer = client.post(reverse("visit_new", args=[person.pk]), form(note="n" * 60_000))
    assert answer.status_code == 503
    assert "n" * 60_000 in answer.content.decode()
    assert (Visit.objects.count(), AuditEvent.objects.count()) == (0, 0)


def picture():
    out = io.BytesIO()
    Image.effect_noise((64, 64), 90).convert("RGB").save(out, "JPEG")
    return io.BytesIO(out.getvalue())


@pytest.fixture
def lesion(person, settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }
    PhotoConsent.objects.create(person=person, given_on="2020-01-01", created_by=factories.author())
    return factories.lesion(on=factories.limb(of=person))


def files(folder):
    return [p for p in Path(folder).rglob("*") if p.is_file()]


def test_a_disk_full_of_pictures_stores_neither_picture_nor_row(quiet, lesion, monkeypatch, tmp_path):
    def full(*_a, **_k):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("django.core.files.storage.FileSystemStorage._save", full)
    upload = picture()
    upload.name = "a.jpg"
    sent = {"photo": upload, "taken_on": timezone.localdate().isoformat(), "note": "left foot"}
    assert quiet.post(reverse("photo_new", args=[lesion.pk]), sent).status_code == 503
    assert Photo.objects.count() == 0
    assert files(tmp_path) == []


@pytest.mark.parametrize(
    ("fault", "stays"),
    [(Refused("a rule"), 0), (RuntimeError("a fault of ours"), 0), (OperationalError("gone"), 1)],
)
def test_a_row_that_fails_takes_its_picture_with_it_unless_the_database_went(
    staff, lesion, monkeypatch, tmp_path, fault, stays
):
    """With the database gone the same picture is sent again, maybe to another server that finds it there and
    keeps its row: taking it away then would lose an accepted photograph."""
    content = picture().getvalue()

    def broken(**_):
        raise fault

    def send():
        with transaction.atomic():
            photo_store(by=staff, lesion=lesion, taken_on=timezone.localdate(), upload=io.BytesIO(content))

    with monkeypatch.context() as gone:
        gone.setattr("clinic.record.writes.audit.record", broken)
        with pytest.raises(type(fault)):
            send()
    assert Photo.objects.count() == 0
    assert len(files(tmp_path)) == stays
    send()
    assert (Photo.objects.count(), len(files(tmp_path))) == (1, 1)


def test_a_picture_damaged_in_the_store_is_said_and_not_served_as_if_whole(quiet, staff, lesion):
    with transaction.atomic():
        photo = photo_store(by=staff, lesion=lesion, taken_on=timezone.localdate(), upload=picture())
    default_storage.delete(photo.file.name)
    answer = quiet.get(reverse("photo_file", args=[photo.pk]))
    assert answer.status_code in (404, 410, 503)


def test_a_clock_that_steps_back_leaves_a_chain_that_holds(site, staff, person, monkeypatch):
    for step in (0, -7200, 60):
        later = timezone.now() + timedelta(seconds=step)
        with monkeypatch.context() as clock:
            clock.setattr("django.utils.timezone.now", lambda when=later: when)
            with transaction.atomic():
                audit.record(by=staff, site=site, verb="weighed", target=person, person=person)
    rows = AuditEvent.objects.filter(site_id=site.pk).order_by("sequence")
    assert [row.sequence for row in rows] == [1, 2, 3]
    assert list(audit.faults(site.pk)) == []


def test_two_pages_of_one_record_the_older_one_overwrites_nothing(as_staff, person):
    sent = {
        "record_number": person.record_number,
        "given_name": "Ada",
        "birth_date": "1960-05-17",
        "diabetes_type": "type_2",
        "version": "1",
    }
    url = reverse("person_edit", args=[person.pk])
    assert as_staff.post(url, {**sent, "family_name": "First"}).status_code == 302
    second = as_staff.post(url, {**sent, "family_name": "Second"})
    assert second.status_code in (409, 422)
    assert 'value="Second"' in second.content.decode()
    person.refresh_from_db()
    assert person.family_name == "First"
    assert Weight.objects.count() == 0
