"""Thirty processes that write into one SQLite file without a pause to speak of. Run as a program; prints JSON.

Each transaction reads a count, writes it one higher and writes an audit event, as the app's own actions do; three
writers share each count. At the end the counts and the events must be what the writers were told had been written.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from typing import Any

ROOMS = 10
PAUSE_S = 0.02


def write_on(number: int, seconds: float, ready: Any, told: Any) -> None:
    """One writer: tells how often it wrote, what stopped it, and its slowest transaction."""
    from django.db import DatabaseError, transaction

    from makerlab.audit.models import record
    from printing.models import Room

    room_id = list(Room.objects.order_by("pk").values_list("pk", flat=True))[number % ROOMS]
    wrote, trouble, slowest = 0, [], 0.0
    ready.wait(120)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        began = time.monotonic()
        try:
            with transaction.atomic():
                room = Room.objects.get(pk=room_id)
                Room.objects.filter(pk=room_id).update(revision=room.revision + 1)
                record(room.school_id, None, "write", room, number=number)
            wrote += 1
        except DatabaseError as error:
            trouble.append(str(error))
        slowest = max(slowest, time.monotonic() - began)
        time.sleep(PAUSE_S)
    told.put({"wrote": wrote, "trouble": trouble, "slowest_s": slowest})


def main(writers: int, seconds: float) -> dict[str, Any]:
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.db.models import Sum

    from makerlab.accounts.models import School
    from makerlab.audit.models import Event
    from printing.models import Room

    call_command("migrate", verbosity=0)
    school = School.objects.create(name="Alderwick School")
    Room.objects.bulk_create(Room(school=school, name=f"room {number}") for number in range(ROOMS))
    before = Room.objects.aggregate(all=Sum("revision"))["all"]
    connection.close()
    forks = multiprocessing.get_context("fork")
    ready, told = forks.Barrier(writers), forks.SimpleQueue()
    started = [forks.Process(target=write_on, args=(number, seconds, ready, told)) for number in range(writers)]
    for process in started:
        process.start()
    answers = [told.get() for _process in started]
    for process in started:
        process.join()
    return {
        "writers": writers, "seconds": seconds, "wrote": sum(one["wrote"] for one in answers),
        "idle": sum(one["wrote"] == 0 for one in answers),
        "trouble": [words for one in answers for words in one["trouble"]],
        "counted": Room.objects.aggregate(all=Sum("revision"))["all"] - before,
        "events": Event.objects.filter(verb="write").count(),
        "slowest_s": round(max(one["slowest_s"] for one in answers), 2),
    }  # fmt: skip


if __name__ == "__main__":
    reader = argparse.ArgumentParser()
    reader.add_argument("--writers", type=int, default=30)
    reader.add_argument("--seconds", type=float, default=10.0)
    json.dump(main(**vars(reader.parse_args())), sys.stdout)
