"""What a backup says about itself: which release made it, every table's rows and every file's fingerprint."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from makerlab.keeping.trouble import KeepingTrouble

FORMAT = 1  # raise it when an older release could no longer read the file


@dataclass(frozen=True, slots=True)
class Member:
    """One stored file: its name inside the backup, its bytes and its SHA-256 as hexadecimal text."""

    name: str
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """The contents of a backup. ``tables`` maps each table to its number of rows; ``missing`` are files that rows
    name but that were not in the store when the backup was made."""

    made_at: str
    release: str
    database_kind: str
    database: Member
    migrations: tuple[str, ...]
    tables: Mapping[str, int]
    files: tuple[Member, ...]
    missing: tuple[str, ...]
    format: int = FORMAT

    def to_json(self) -> bytes:
        return json.dumps(asdict(self), indent=1, sort_keys=True).encode()

    @property
    def rows(self) -> int:
        return sum(self.tables.values())


def read_manifest(raw: bytes) -> Manifest:
    """The manifest of a backup. Raises KeepingTrouble when it is of a newer format or makes no sense."""
    try:
        plain: dict[str, Any] = json.loads(raw)
        if plain["format"] > FORMAT:
            raise KeepingTrouble("This backup was made by a newer release of Makerlab. Install that release first.")
        return Manifest(
            made_at=str(plain["made_at"]),
            release=str(plain["release"]),
            database_kind=str(plain["database_kind"]),
            database=Member(**plain["database"]),
            migrations=tuple(plain["migrations"]),
            tables={str(table): int(rows) for table, rows in plain["tables"].items()},
            files=tuple(Member(**one) for one in plain["files"]),
            missing=tuple(plain["missing"]),
            format=int(plain["format"]),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise KeepingTrouble("The list of contents in this backup cannot be read.") from error
