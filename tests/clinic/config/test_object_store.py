"""Pictures in an object store: private, encrypted, without an address; a store that fails is one sentence."""

from __future__ import annotations

import logging

import pytest
import requests
from django.core.exceptions import ImproperlyConfigured
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone

from clinic.accounts.reads import doctor
from clinic.accounts.writes.backups import ArchiveFault, backup, restore
from clinic.accounts.writes.picture_store import picture_names, pictures_filled
from clinic.capture.writes.photos import photo_bytes, thumbnail
from clinic.config.object_store import ObjectStore
from clinic.config.private_store import StoreFault
from clinic.models import Photo, PhotoConsent
from tests import factories
from tests.clinic.capture.writes.test_photos import picture
from tests.clinic.config.test_environment import read_settings
from tests.object_store import BUCKET, KEY, SECRET, store_running
from tests.security.test_backups import members


@pytest.fixture(scope="module")
def server():
    with store_running() as running:
        yield running


@pytest.fixture
def store(server, settings):
    """The program's pictures lie in the store of this module, empty."""
    for name in server.names():
        server.client.delete_object(Bucket=BUCKET, Key=name)
    settings.OBJECT_STORE = server.settings
    settings.STORAGES = {**settings.STORAGES, "default": server.settings.storage}
    yield server
    server.client.put_bucket_versioning(Bucket=BUCKET, VersioningConfiguration={"Status": "Suspended"})
    server.client.put_bucket_acl(Bucket=BUCKET, ACL="private")


@pytest.fixture
def lesion(person):
    PhotoConsent.objects.create(person=person, given_on=timezone.localdate(), created_by=factories.author())
    return factories.lesion(on=factories.limb(of=person))


def sent(client, lesion, note=""):
    upload = picture()
    upload.name = "wound.jpg"
    return client.post(
        f"/lesions/{lesion.pk}/photos/new/",
        {"photo": upload, "taken_on": timezone.localdate().isoformat(), "note": note},
    )


def test_a_photo_is_stored_private_and_encrypted_and_read_through_the_checked_view(
    as_staff, store, lesion, other_site, client
):
    assert sent(as_staff, lesion).status_code == 302
    photo = Photo.objects.get()
    assert store.names() == [photo.file.name]
    kept = store.client.head_object(Bucket=BUCKET, Key=photo.file.name)
    assert kept["ServerSideEncryption"] == "AES256"
    grants = store.client.get_object_acl(Bucket=BUCKET, Key=photo.file.name)["Grants"]
    assert all(grant["Grantee"]["Type"] == "CanonicalUser" for grant in grants), "nobody but the owner"
    assert requests.get(f"{store.url}/{BUCKET}/{photo.file.name}", timeout=5).status_code == 403
    answer = as_staff.get(f"/photos/{photo.pk}/file/")
    assert b"".join(answer.streaming_content) == photo_bytes(photo)
    assert as_staff.get(f"/photos/{photo.pk}/thumb/").status_code == 200
    assert client.get(f"/photos/{photo.pk}/file/").status_code == 302, "a stranger is sent to sign in"


def test_no_picture_has_an_address(store):
    default_storage.save("photos/aa/a.jpg", ContentFile(b"x"))
    with pytest.raises(NotImplementedError):
        default_storage.url("photos/aa/a.jpg")


def test_small_copies_and_pictures_come_back_as_they_went(store, as_staff, lesion):
    sent(as_staff, lesion)
    photo = Photo.objects.get()
    small = thumbnail(photo)
    assert thumbnail(photo) == small
    assert len(store.names()) == 2
    assert default_storage.exists(photo.file.name)
    default_storage.delete(photo.file.name)
    assert not default_storage.exists(photo.file.name)
    assert as_staff.get(f"/photos/{photo.pk}/file/").status_code == 404


def test_a_store_that_does_not_answer_keeps_what_was_typed_and_saves_nothing(
    store, as_staff, lesion, settings
):
    gone = ObjectStore(BUCKET, "http://127.0.0.1:9", "us-east-1", KEY, SECRET)
    settings.STORAGES = {**settings.STORAGES, "default": gone.storage}
    as_staff.raise_request_exception = False
    answer = sent(as_staff, lesion, note="under the left heel")
    assert answer.status_code == 503
    assert "under the left heel" in answer.content.decode()
    assert not Photo.objects.exists()


@pytest.mark.parametrize("secret", [KEY, SECRET])
def test_keys_are_in_no_log_no_sentence_and_no_printed_value(store, caplog, settings, secret):
    gone = ObjectStore("no-such-bucket", store.url, "us-east-1", KEY, SECRET)
    settings.STORAGES = {**settings.STORAGES, "default": gone.storage}
    with caplog.at_level(logging.DEBUG), pytest.raises(StoreFault) as caught:
        default_storage.save("photos/aa/a.jpg", ContentFile(b"x"))
    assert secret not in caplog.text
    assert secret not in str(caught.value)
    assert caught.value.__cause__ is None
    assert secret not in repr(gone)


# --- Settings


def test_without_a_bucket_pictures_lie_in_the_folder(monkeypatch, tmp_path):
    read = read_settings(monkeypatch, tmp_path)
    assert read["STORAGES"]["default"]["BACKEND"] == "django.core.files.storage.FileSystemStorage"
    assert not read["OBJECT_STORE"].is_on


@pytest.mark.parametrize(
    ("variables", "named"),
    [
        ({"OBJECT_STORE_BUCKET": "b"}, "OBJECT_STORE_KEY"),
        ({"OBJECT_STORE_BUCKET": "b", "OBJECT_STORE_KEY": "k"}, "OBJECT_STORE_SECRET"),
        ({"OBJECT_STORE_SECRET": "hunter2"}, "OBJECT_STORE_BUCKET"),
        ({"OBJECT_STORE_URL": "https://store.example.org"}, "OBJECT_STORE_BUCKET"),
        ({"OBJECT_STORE_BUCKET": "b", "OBJECT_STORE_URL": "http://store.example.org"}, "https://"),
    ],
)
def test_half_a_store_is_one_sentence_without_a_key(monkeypatch, tmp_path, variables, named):
    with pytest.raises(ImproperlyConfigured) as caught:
        read_settings(monkeypatch, tmp_path, **variables)
    assert named in str(caught.value)
    assert "hunter2" not in str(caught.value)


# --- Doctor


def line():
    return doctor.LINES["pictures"]()


def test_the_doctor_writes_a_probe_and_leaves_nothing(store):
    assert line()[0] == doctor.WELL
    assert store.names() == []


def test_the_doctor_names_a_store_that_refuses_or_is_gone(store, settings):
    for bad in (
        ObjectStore("no-such-bucket", store.url, "us-east-1", KEY, SECRET),
        ObjectStore(BUCKET, "http://127.0.0.1:9", "us-east-1", KEY, SECRET),
    ):
        settings.OBJECT_STORE = bad
        settings.STORAGES = {**settings.STORAGES, "default": bad.storage}
        level, words, remedy = line()
        assert level == doctor.FAULT
        assert "cannot be stored" in words
        assert "OBJECT_STORE_URL" in remedy
        assert SECRET not in words + remedy


def test_the_doctor_tells_a_bucket_that_strangers_read(store, monkeypatch):
    def open_to_all(self, name, content):
        self.bucket.put_object(Key=name, Body=content.read(), ACL="public-read")
        return name

    monkeypatch.setattr("clinic.config.private_store.PrivateStore._save", open_to_all)
    level, words, _ = line()
    assert (level, "Anybody can read" in words) == (doctor.FAULT, True)


def test_the_doctor_tells_what_is_not_encrypted_and_what_is_kept_after_erasure(store, settings):
    store.client.put_bucket_versioning(Bucket=BUCKET, VersioningConfiguration={"Status": "Enabled"})
    level, words, _ = line()
    assert (level, "erased by law" in words) == (doctor.ADVICE, True)
    plain = ObjectStore(BUCKET, store.url, "us-east-1", KEY, SECRET, "bucket")
    settings.STORAGES = {**settings.STORAGES, "default": plain.storage}
    level, words, _ = line()
    assert (level, "encrypts" in words) == (doctor.FAULT, True)


# --- Backups


@pytest.fixture
def archive(db, site, store, settings, tmp_path):
    settings.DIGEST_DIR, settings.MEDIA_ROOT = tmp_path / "digests", tmp_path / "media"
    for n in range(3):
        default_storage.save(f"photos/{n}{n}/{n}.jpg", ContentFile(bytes([n]) * 5000))
    backup(tmp_path / "b.tar")
    return tmp_path / "b.tar"


def test_a_backup_holds_the_pictures_of_the_store(archive, store):
    held = members(archive)
    assert {f"media/{name}" for name in store.names()} <= set(held)
    assert held["media/photos/11/1.jpg"] == bytes([1]) * 5000


def test_a_restore_never_overwrites_the_pictures_of_the_store(archive, monkeypatch):
    unpacked = (archive.parent, {"vendor": connection.vendor})
    monkeypatch.setattr("clinic.accounts.writes.backups._checked", lambda *_: unpacked)
    with pytest.raises(ArchiveFault, match=f"bucket {BUCKET} is not empty"):
        restore(archive)


@pytest.mark.parametrize("into_folder", [False, True])
def test_pictures_come_back_into_a_store_or_a_folder(archive, store, settings, tmp_path, into_folder):
    for name, data in members(archive).items():
        (tmp_path / "out" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "out" / name).write_bytes(data)
    before = store.names()
    for name in before:
        default_storage.delete(name)
    if into_folder:
        settings.OBJECT_STORE = ObjectStore()
        settings.STORAGES = {
            **settings.STORAGES,
            "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        }
    pictures_filled(tmp_path / "out" / "media")
    assert picture_names() == before
