"""The store of pictures as the program uses it: a store that does not answer is one kind of error, and no
picture has an address of its own.
"""

from __future__ import annotations

import errno
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.core.files.base import ContentFile
from storages.backends.s3 import S3Storage

from clinic.config.object_store import ATTEMPTS, CONNECT_SECONDS, READ_SECONDS

__all__ = ["PrivateStore", "StoreFault"]

# Its lines would hold addresses, names of objects and, when talkative, signed headers.
for _name in ("boto3", "botocore", "s3transfer", "urllib3"):
    logging.getLogger(_name).setLevel(logging.CRITICAL)


class StoreFault(OSError):
    """The store did not do what it was asked; the sentence holds no key and no name.

    An error of input and output, as a disk's: the page that says so keeps what was typed.
    """

    def __init__(self, words: str) -> None:
        super().__init__(errno.EIO, words)

    def __str__(self) -> str:
        return str(self.strerror)


@contextmanager
def _answered() -> Iterator[None]:
    try:
        yield
    except FileNotFoundError:
        raise
    except ClientError as fault:
        code = str(fault.response.get("Error", {}).get("Code", "no reason given"))
        raise StoreFault(f"the object store refused: {code}") from None
    except BotoCoreError as fault:
        raise StoreFault(f"the object store does not answer: {type(fault).__name__}") from None


class PrivateStore(S3Storage):
    """Pictures are read through the access-checked view only."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault(
            "client_config",
            Config(
                signature_version=settings.pop("signature_version", "s3v4"),
                s3={"addressing_style": settings.pop("addressing_style", "path")},
                connect_timeout=CONNECT_SECONDS,
                read_timeout=READ_SECONDS,
                retries={"total_max_attempts": ATTEMPTS, "mode": "standard"},
            ),
        )
        super().__init__(**settings)

    def url(self, *args: Any, **kwargs: Any) -> str:
        raise NotImplementedError("a picture has no address of its own")

    def _open(self, name: str, mode: str = "rb") -> Any:
        # The whole picture at once: what is read later would fail outside of this.
        with _answered(), super()._open(name, mode) as opened:
            content = opened.read()
        return ContentFile(content, name=name)

    def _save(self, name: str, content: Any) -> str:
        with _answered():
            return str(super()._save(name, content))

    def exists(self, name: str) -> bool:
        with _answered():
            return bool(super().exists(name))

    def delete(self, name: str) -> None:
        with _answered():
            super().delete(name)

    def names(self) -> list[str]:
        """Every object of the bucket, in order."""
        with _answered():
            return sorted(item.key for item in self.bucket.objects.all())
