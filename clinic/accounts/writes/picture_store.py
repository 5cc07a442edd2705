"""The pictures of a backup, wherever they lie: a folder of this machine, or an object store."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, cast

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

if TYPE_CHECKING:
    from clinic.config.private_store import PrivateStore

__all__ = ["picture", "picture_names", "pictures_filled", "pictures_taken_away", "pictures_there"]


def _store() -> PrivateStore:
    return cast("PrivateStore", default_storage)


def picture_names() -> list[str]:
    """Names of all pictures, small copies included, in order."""
    if settings.OBJECT_STORE.is_on:
        return _store().names()
    media = Path(settings.MEDIA_ROOT)
    return sorted(p.relative_to(media).as_posix() for p in media.rglob("*") if p.is_file())


def picture(name: str) -> bytes:
    if settings.OBJECT_STORE.is_on:
        with default_storage.open(name, "rb") as opened:
            return bytes(opened.read())
    return (Path(settings.MEDIA_ROOT) / name).read_bytes()


def pictures_there() -> str:
    """Where pictures lie already, in words; empty where there is none."""
    if not picture_names():
        return ""
    if settings.OBJECT_STORE.is_on:
        return f"bucket {settings.OBJECT_STORE.bucket}"
    return str(settings.MEDIA_ROOT)


def pictures_filled(folder: Path) -> None:
    """Put the pictures of an unpacked archive where the settings keep them."""
    if not settings.OBJECT_STORE.is_on:
        shutil.copytree(folder, Path(settings.MEDIA_ROOT), dirs_exist_ok=True)
        return
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        default_storage.save(path.relative_to(folder).as_posix(), ContentFile(path.read_bytes()))


def pictures_taken_away(folder: Path) -> None:
    """Take the pictures of an unpacked archive out of the place again, after a restore that failed."""
    for path in (p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder)
        if settings.OBJECT_STORE.is_on:
            default_storage.delete(name.as_posix())
        else:
            (Path(settings.MEDIA_ROOT) / name).unlink(missing_ok=True)
