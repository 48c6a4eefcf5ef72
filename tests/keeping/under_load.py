"""Ten backups while eight write without a pause, each of them proved and restored. Run as a program; prints JSON.

Rows and files come from the app's own actions: uploads, and kit files replaced (whose old file is deleted). Each
restored copy is held against what the app itself wrote down: the fingerprint in each row against the restored file, and
one audit event for each upload, which the app writes in one transaction with the row.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

WRITERS, BACKUPS = 8, 10


def write_on(world: Any, number: int, stop: threading.Event, wrote: list[int], trouble: list[str]) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile
    from django.db import connection

    from lessons.actions.kits import add_part, fingerprint, replace_mesh
    from lessons.models import Assignment, KitPart
    from submissions.actions import upload_part

    def file(count: int) -> SimpleUploadedFile:
        return SimpleUploadedFile("wheel.stl", f"solid {number} {count}\nendsolid\n".encode() * 500, "model/stl")

    try:
        assignment = Assignment.objects.get(pk=world.assignment.pk)
        mine = add_part(world.teacher, world.plan, f"writer {number}", file(0)) if number % 2 else None
        count = 0
        while not stop.is_set():
            count += 1
            if mine is None:
                upload_part(world.student, assignment, world.wheel, file(count))
            else:
                fresh = KitPart.objects.get(pk=mine.pk)
                replace_mesh(world.teacher, fresh, file(count), fingerprint(fresh), True)
            wrote[number] += 1
    except Exception as error:  # noqa: BLE001 - whatever stops a writer is what the test must see
        trouble.append(repr(error))
    finally:
        connection.close()


def held_against_the_app(folder: Path) -> dict[str, int]:
    """A restored SQLite copy read without any of our code."""
    with sqlite3.connect(folder / "makerlab.sqlite3") as database:
        rows = database.execute(
            "SELECT file, sha256 FROM submissions_submission UNION ALL SELECT file, sha256 FROM lessons_kitpart"
        ).fetchall()
        uploads = database.execute("SELECT COUNT(*) FROM submissions_submission").fetchone()[0]
        events = database.execute("SELECT COUNT(*) FROM audit_event WHERE verb = 'upload'").fetchone()[0]
    database.close()
    told = [(folder / "media" / name, digest) for name, digest in rows if name and set(digest) != {"0"}]
    wrong = [name for name, digest in told if hashlib.sha256(name.read_bytes()).hexdigest() != digest]
    return {"files": len(told), "wrong files": len(wrong), "uploads": uploads, "events": events}


def one_round(number: int, folder: Path) -> dict[str, Any]:
    from django.db import connection

    from makerlab.keeping.backup import make_backup
    from makerlab.keeping.encryption import Lock
    from makerlab.keeping.restore import check, restore

    made = make_backup(folder / str(number), Lock())
    found: dict[str, Any] = {"rows": made.manifest.rows, "missing": len(made.manifest.missing)}
    if connection.vendor == "sqlite":
        restore(made.path, folder / f"back-{number}", str, lambda line: None)
        found |= held_against_the_app(folder / f"back-{number}")
    else:
        found["proved"] = check(made.path, str).proved[-1]
    return found


def main() -> dict[str, Any]:
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    from lessons.models import Assignment
    from tests.world import make_world

    call_command("migrate", verbosity=0)
    world = make_world()
    Assignment.objects.update(files_max=30_000)
    settings.UPLOADS_AN_HOUR = 1_000_000  # eight writers without a pause are no class
    stop, wrote = threading.Event(), [0] * WRITERS
    trouble: list[str] = []
    writers = [threading.Thread(target=write_on, args=(world, n, stop, wrote, trouble)) for n in range(WRITERS)]
    for writer in writers:
        writer.start()
    rounds = []
    with tempfile.TemporaryDirectory() as name:
        try:
            for number in range(BACKUPS):
                before = sum(wrote)
                rounds.append(one_round(number, Path(name)) | {"written meanwhile": sum(wrote) - before})
        finally:
            stop.set()
            for writer in writers:
                writer.join()
    return {"rounds": rounds, "trouble": trouble, "wrote": wrote}


if __name__ == "__main__":
    json.dump(main(), sys.stdout)
