"""What the files of backups are called: PREFIX, the moment as STAMP, and how the file is kept."""

from __future__ import annotations

STAMP = "%Y%m%dT%H%M%SZ"
PREFIX, PLAIN, ENCRYPTED, UNFINISHED = "makerlab-", ".backup.zip", ".backup.age.zip", ".part"
