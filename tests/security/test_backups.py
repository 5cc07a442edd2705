"""A damaged archive is refused before anything is written, and the damaged file is named."""

from __future__ import annotations

import hashlib
import io
import json
import tarfile
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from clinic.accounts.sealed_files import SealFault, seal, unseal
from clinic.accounts.writes import backups, digests
from clinic.accounts.writes.backups import ArchiveFault, backup, check, restore
from tests.migrated import copy_into
from tests.security import killing

PASSPHRASE = "seven purple lanterns"


@pytest.fixture(autouse=True)
def _folders(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.DIGEST_DIR = tmp_path / "digests"


@pytest.fixture
def archive(db, site, settings, tmp_path):
    """An archive of the database, three pictures and the digest file."""
    for n in range(3):
        picture = settings.MEDIA_ROOT / "photos" / f"{n}{n}" / f"{n}.jpg"
        picture.parent.mkdir(parents=True)
        picture.write_bytes(bytes([n]) * 5000)
    digests.write()
    backup(tmp_path / "b.tar")
    return tmp_path / "b.tar"


def members(path):
    with tarfile.open(path) as tar:
        return {m.name: tar.extractfile(m).read() for m in tar}


def write(path, content, renamed=None):
    with tarfile.open(path, "w") as tar:
        for name, data in content.items():
            member = tarfile.TarInfo((renamed or {}).get(name, name))
            member.size = len(data)
            tar.addfile(member, io.BytesIO(data))


def flipped(data, at=None):
    at = len(data) // 2 if at is None else at
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def database_of(content):
    return next(name for name in content if name.startswith("database."))


def rehashed(manifest, **changes):
    told = {**manifest, **changes}
    told.pop("sha256")
    told["sha256"] = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
    return json.dumps(told).encode()


def cut(path):
    # Up to 10 kB at the end of an archive are empty: less would be nothing lost.
    path.write_bytes(path.read_bytes()[:-12_000])


def one_bit_of_the_database(path):
    content = members(path)
    content[database_of(content)] = flipped(content[database_of(content)])
    write(path, content)


def one_bit_of_a_picture(path):
    content = members(path)
    content["media/photos/11/1.jpg"] = flipped(content["media/photos/11/1.jpg"])
    write(path, content)


def a_picture_gone(path):
    content = members(path)
    del content["media/photos/22/2.jpg"]
    write(path, content)


def a_picture_too_many(path):
    write(path, {**members(path), "media/photos/99/9.jpg": b"x"})


def two_pictures_swapped(path):
    content = members(path)
    a, b = "media/photos/00/0.jpg", "media/photos/11/1.jpg"
    content[a], content[b] = content[b], content[a]
    write(path, content)


def the_manifest_altered(path):
    content = members(path)
    manifest = json.loads(content["manifest.json"])
    manifest["made_at"] = "2020-01-01T00:00:00+00:00"
    write(path, {**content, "manifest.json": json.dumps(manifest).encode()})


def the_manifest_gone(path):
    content = members(path)
    del content["manifest.json"]
    write(path, content)


def a_name_that_leaves_the_folder(path):
    write(path, members(path), {"media/photos/00/0.jpg": "../../outside.jpg"})


def the_digest_file_altered(path):
    content = members(path)
    content["digests/heads.jsonl"] = flipped(content["digests/heads.jsonl"], 5)
    write(path, content)


def not_an_archive(path):
    path.write_bytes(b"%PDF-1.7 something else" * 100)


def empty(path):
    path.write_bytes(b"")


def of_a_newer_program(path):
    content = members(path)
    manifest = json.loads(content["manifest.json"])
    later = rehashed(manifest, migrations=[*manifest["migrations"], "clinic.0999_tomorrow"])
    write(path, {**content, "manifest.json": later})


@dataclass(frozen=True)
class Damage:
    do: Callable
    named: str


DAMAGES = [
    Damage(cut, "cut short|is missing"),
    Damage(one_bit_of_the_database, r"database\.\w+ is damaged"),
    Damage(one_bit_of_a_picture, "media/photos/11/1.jpg is damaged"),
    Damage(a_picture_gone, "media/photos/22/2.jpg is missing"),
    Damage(a_picture_too_many, "media/photos/99/9.jpg is not in the manifest"),
    Damage(two_pictures_swapped, "media/photos/00/0.jpg is damaged"),
    Damage(the_manifest_altered, "manifest.json was altered"),
    Damage(the_manifest_gone, "manifest.json is missing"),
    Damage(a_name_that_leaves_the_folder, r"\.\./\.\./outside.jpg"),
    Damage(the_digest_file_altered, "digests/heads.jsonl is damaged"),
    Damage(not_an_archive, "b.tar is no archive"),
    Damage(empty, "b.tar is missing or empty"),
    Damage(of_a_newer_program, "clinic.0999_tomorrow"),
]


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda one: one.do.__name__)
def test_a_damaged_archive_is_refused_and_the_file_named(archive, damage, tmp_path):
    check(archive)
    damage.do(archive)
    with pytest.raises(ArchiveFault, match=damage.named):
        check(archive)
    assert not (tmp_path.parent / "outside.jpg").exists()


def test_a_sealed_archive_shows_nothing_and_opens_only_with_its_passphrase(archive, tmp_path):
    sealed = tmp_path / "s.tar"
    backup(sealed, passphrase=PASSPHRASE)
    assert b"SQLite format" not in sealed.read_bytes()
    assert b"manifest.json" not in sealed.read_bytes()
    check(sealed, passphrase=PASSPHRASE)
    with pytest.raises(ArchiveFault, match="wrong passphrase"):
        check(sealed, passphrase="another")
    with pytest.raises(ArchiveFault, match="its passphrase is needed"):
        check(sealed)


@pytest.mark.parametrize("size", [0, 1, 1024 * 1024 - 1, 1024 * 1024, 2 * 1024 * 1024 + 7])
def test_a_sealed_file_comes_back_and_no_bit_cut_or_swap_passes(tmp_path, size):
    plain, sealed, back = (tmp_path / name for name in ("plain", "sealed", "back"))
    plain.write_bytes(bytes(range(256)) * (size // 256) + b"z" * (size % 256))
    seal(plain, sealed, PASSPHRASE)
    unseal(sealed, back, PASSPHRASE)
    assert back.read_bytes() == plain.read_bytes()
    whole = sealed.read_bytes()
    piece, head = 1024 * 1024 + 16, 16 + 16 + 7
    spoiled = [flipped(whole), flipped(whole, 20), whole[:-1], whole + b"x"]
    if size > 2 * 1024 * 1024:
        spoiled += [
            whole[: head + piece],  # the tail cut at a piece's edge
            whole[:head]
            + whole[head + piece : head + 2 * piece]
            + whole[head : head + piece]
            + whole[head + 2 * piece :],
        ]
    for bytes_ in spoiled:
        sealed.write_bytes(bytes_)
        with pytest.raises(SealFault):
            unseal(sealed, back, PASSPHRASE)


def test_a_backup_never_overwrites_another(archive):
    before = archive.read_bytes()
    with pytest.raises(ArchiveFault, match="exists already"):
        backup(archive)
    assert archive.read_bytes() == before


def test_a_restore_never_overwrites_a_database_or_pictures(archive, settings):
    with pytest.raises(ArchiveFault, match="not empty"):
        restore(archive)
    for picture in settings.MEDIA_ROOT.rglob("*.jpg"):
        picture.unlink()
    with pytest.raises(ArchiveFault, match="not empty"):
        restore(archive)


def test_a_backup_that_breaks_leaves_no_file_behind(archive, tmp_path, monkeypatch):
    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups.os, "replace", broken)
    with pytest.raises(OSError, match="No space"):
        backup(tmp_path / "c.tar")
    assert sorted(p.name for p in tmp_path.iterdir() if "tar" in p.name or p.name.startswith(".backup")) == [
        "b.tar"
    ]


def test_the_drill_restores_into_an_empty_place_and_keeps_its_time(tmp_path, migrated):
    place = killing.Place(tmp_path / "var", f"sqlite:///{tmp_path / 'var' / 'clinic.sqlite3'}")
    copy_into(place.folder, migrated)
    place.ask("prepare", "3")
    done = place.manage("drill", BACKUP_PASSPHRASE=PASSPHRASE)
    assert done.returncode == 0, done.stderr
    line = json.loads((tmp_path / "var" / "drills.jsonl").read_text())
    assert line["passed"]
    assert line["restore_s"] > 0
