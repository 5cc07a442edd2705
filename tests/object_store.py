"""An object store of a test's own: a real server in this process, asked over HTTP as any other."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import boto3
from moto.server import ThreadedMotoServer

from clinic.config.object_store import ObjectStore

__all__ = ["BUCKET", "KEY", "SECRET", "RunningStore", "store_running"]

BUCKET, KEY, SECRET = "clinic-pictures", "key-of-the-clinic", "secret-hunter2"  # noqa: S105


@dataclass(frozen=True)
class RunningStore:
    """Where the server answers, and a client that looks at it from outside of the program."""

    url: str

    @property
    def environment(self) -> dict[str, str]:
        """What leads the program to it."""
        return {
            "OBJECT_STORE_BUCKET": BUCKET,
            "OBJECT_STORE_URL": self.url,
            "OBJECT_STORE_REGION": "us-east-1",
            "OBJECT_STORE_KEY": KEY,
            "OBJECT_STORE_SECRET": SECRET,
        }

    @property
    def settings(self) -> ObjectStore:
        return ObjectStore(BUCKET, self.url, "us-east-1", KEY, SECRET)

    @property
    def client(self):
        return boto3.client(
            "s3",
            endpoint_url=self.url,
            region_name="us-east-1",
            aws_access_key_id=KEY,
            aws_secret_access_key=SECRET,
        )

    def names(self) -> list[str]:
        found = self.client.list_objects_v2(Bucket=BUCKET).get("Contents", [])
        return sorted(row["Key"] for row in found)


@contextmanager
def store_running() -> Iterator[RunningStore]:
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    store = RunningStore(f"http://{host}:{port}")
    store.client.create_bucket(Bucket=BUCKET)
    try:
        yield store
    finally:
        server.stop()
