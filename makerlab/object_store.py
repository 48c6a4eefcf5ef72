"""The store of the distributed profile: a bucket that speaks S3, by django-storages (extra ``s3``)."""

from __future__ import annotations

from typing import Any

from botocore.config import Config
from botocore.exceptions import ClientError
from storages.backends.s3 import S3Storage

# a store that is away is told within a minute, not after boto's own five
CONNECT_S, READ_S, TRIES = 5, 30, 3
IN_MEMORY_BYTES = 2 * 1024 * 1024


class ObjectStore(S3Storage):  # type: ignore[misc]  # the package has no types
    """Every object private, none written over, none served by address: files leave only through views that check."""

    def get_default_settings(self) -> dict[str, Any]:
        defaults: dict[str, Any] = super().get_default_settings()
        return defaults | {
            "file_overwrite": False,
            "querystring_auth": True,
            "max_memory_size": IN_MEMORY_BYTES,  # a larger file is read through a temporary one, not kept in memory
            "client_config": Config(
                connect_timeout=CONNECT_S,
                read_timeout=READ_S,
                retries={"max_attempts": TRIES, "mode": "standard"},
                signature_version="s3v4",
                # buckets by path: a store in the house has no name for each bucket
                s3={"addressing_style": "path"},
                # further checksums are the provider's own and many servers know none
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
            ),
        }

    def _open(self, name: str, mode: str = "rb") -> Any:
        file = super()._open(name, mode)
        if "w" in mode:
            return file
        try:
            _ = file.file  # fetched at once: an object deleted a moment ago is then missing here, not halfway through
        except ClientError as error:
            if error.response.get("ResponseMetadata", {}).get("HTTPStatusCode") == 404:
                raise FileNotFoundError(f"File does not exist: {name}") from error
            raise
        return file
