"""An S3 server of the test's own, on loopback: moto's, an open-source stand-in for the protocol (test extra)."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from tests.conftest import missing

KEY, SECRET = "a-key", "a-secret"


@dataclass(frozen=True)
class Bucket:
    """An empty bucket and how to reach it."""

    name: str
    endpoint: str
    client: Any

    @property
    def environment(self) -> dict[str, str]:
        return {
            "MAKERLAB_S3_BUCKET": self.name, "MAKERLAB_S3_ENDPOINT": self.endpoint, "MAKERLAB_S3_REGION": "us-east-1",
            "MAKERLAB_S3_KEY": KEY, "MAKERLAB_S3_SECRET": SECRET,
        }  # fmt: skip

    @property
    def options(self) -> dict[str, str]:
        """Of ``makerlab.object_store.ObjectStore``."""
        return {
            "bucket_name": self.name, "endpoint_url": self.endpoint, "region_name": "us-east-1", "access_key": KEY,
            "secret_key": SECRET,
        }  # fmt: skip

    def names(self) -> set[str]:
        """Every object, asked of the server without our code."""
        pages = self.client.get_paginator("list_objects_v2").paginate(Bucket=self.name)
        return {each["Key"] for page in pages for each in page.get("Contents", ())}

    def content(self, name: str) -> bytes:
        return self.client.get_object(Bucket=self.name, Key=name)["Body"].read()


@contextmanager
def bucket_server() -> Iterator[Bucket]:
    """A bucket that exists only inside the block; skips where the server is not installed."""
    try:
        import boto3
        from moto.server import ThreadedMotoServer
    except ImportError as error:
        missing(f"the S3 server of the tests is not installed: {error}")
        raise
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    try:
        host, port = server.get_host_and_port()
        endpoint = f"http://{host}:{port}"
        client = boto3.client(
            "s3", endpoint_url=endpoint, region_name="us-east-1", aws_access_key_id=KEY, aws_secret_access_key=SECRET
        )
        name = f"makerlab-{secrets.token_hex(4)}"
        client.create_bucket(Bucket=name)
        yield Bucket(name, endpoint, client)
    finally:
        server.stop()
