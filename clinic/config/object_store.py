"""Pictures in an object store that several servers share: what the settings say of it, and what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

__all__ = ["ENCRYPTIONS", "ObjectStore"]

#: How the store encrypts each object at rest: keys it keeps itself, or keys of its key service. `bucket`
#: leaves it to the bucket's own rule, for stores that refuse to be asked.
ENCRYPTIONS = ("AES256", "aws:kms", "bucket")
#: Seconds until a store that does not answer is given up, and how often it is asked; design choices: a
#: visit's page must come back while somebody waits.
CONNECT_SECONDS, READ_SECONDS, ATTEMPTS = 3, 20, 3


@dataclass(frozen=True)
class ObjectStore:
    """The variables `OBJECT_STORE_*`; without a bucket pictures lie in `MEDIA_DIR`."""

    bucket: str = ""
    url: str = ""
    region: str = ""
    key: str = field(default="", repr=False)
    secret: str = field(default="", repr=False)
    encryption: str = "AES256"

    @property
    def is_on(self) -> bool:
        return bool(self.bucket)

    @property
    def fault(self) -> str:
        """What cannot be used, in one sentence without a key; empty where all can."""
        if self.is_on and not (self.key and self.secret):
            return (
                "OBJECT_STORE_BUCKET is set; OBJECT_STORE_KEY and OBJECT_STORE_SECRET must be set beside it."
            )
        if not self.is_on and (self.url or self.key or self.secret):
            return (
                "OBJECT_STORE_URL, OBJECT_STORE_KEY or OBJECT_STORE_SECRET is set; OBJECT_STORE_BUCKET must "
                "name the bucket, or pictures would stay on this machine."
            )
        return ""

    @property
    def storage(self) -> dict[str, Any]:
        """The framework's row of `STORAGES`: private, encrypted, and without an address of its own."""
        sealed = {} if self.encryption == "bucket" else {"ServerSideEncryption": self.encryption}
        return {
            "BACKEND": "clinic.config.private_store.PrivateStore",
            "OPTIONS": {
                "bucket_name": self.bucket,
                "endpoint_url": self.url or None,
                "region_name": self.region or None,
                "access_key": self.key,
                "secret_key": self.secret,
                "default_acl": "private",
                "object_parameters": sealed,
                "signature_version": "s3v4",
                "addressing_style": "path",
                # A name is the hash of its picture: the same name again is the same picture.
                "file_overwrite": True,
            },
        }
