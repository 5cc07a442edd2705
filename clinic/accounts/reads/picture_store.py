"""Whether pictures can be stored, and whether anybody else can read them."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, cast

import requests
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

if TYPE_CHECKING:
    from clinic.config.private_store import PrivateStore

__all__ = ["examine_store"]

#: Seconds for the store to answer a stranger; design choice.
STRANGER_SECONDS = 10
KEY_REMEDY = (
    "Look at OBJECT_STORE_URL, OBJECT_STORE_BUCKET and the key; it must list, read, write and delete there."
)


def examine_store() -> tuple[str, str, str]:
    """A line of the doctor: a probe is written, read back as a stranger would, and deleted."""
    if not settings.OBJECT_STORE.is_on:
        return "well", "Pictures lie in MEDIA_DIR.", ""
    store, name = cast("PrivateStore", default_storage), f"probes/{secrets.token_hex(8)}"
    try:
        store.save(name, ContentFile(b"written by manage.py doctor"))
        try:
            return _found(store, name)
        finally:
            store.delete(name)
    except OSError as fault:  # our own sentence: no key, no address
        return "fault", f"Pictures cannot be stored: {fault}.", KEY_REMEDY


def _found(store: PrivateStore, name: str) -> tuple[str, str, str]:
    client, bucket = store.connection.meta.client, settings.OBJECT_STORE.bucket
    address = client.generate_presigned_url("get_object", {"Bucket": bucket, "Key": name}).partition("?")[0]
    if _stranger_reads(address):
        return (
            "fault",
            "Anybody can read the pictures: the bucket answers without a key.",
            "Take the public policy and the public grants from the bucket, and block public access.",
        )
    kept = client.head_object(Bucket=bucket, Key=name)
    if settings.OBJECT_STORE.encryption != "bucket" and not kept.get("ServerSideEncryption"):
        return (
            "fault",
            "The store does not say that it encrypts the pictures.",
            "Turn encryption on, or set OBJECT_STORE_ENCRYPTION=bucket if the bucket's own rule does it.",
        )
    if client.get_bucket_versioning(Bucket=bucket).get("Status") == "Enabled":
        return (
            "advice",
            "The bucket keeps old versions: a picture erased by law stays there.",
            "Give the bucket a rule that deletes noncurrent versions after the days your law allows.",
        )
    return "well", "Pictures lie in the object store, closed to strangers.", ""


def _stranger_reads(address: str) -> bool:
    try:
        return requests.get(address, timeout=STRANGER_SECONDS, allow_redirects=False).status_code == 200
    except requests.RequestException:
        return False
