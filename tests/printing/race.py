"""Twenty at once, on a database file of their own with the real settings. Run as a program; prints JSON.

Threads on pytest's in-memory database would share its one lock and prove nothing.
"""

from __future__ import annotations

import json
import sys
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

AT_ONCE = 20


def race(act: Callable[[int], Any]) -> dict[str, int]:
    """Let twenty threads do it at the same moment; count what came of it."""
    from django.db import connection

    from printing.states import NotAllowedNow

    gate = threading.Barrier(AT_ONCE)
    outcomes: list[str] = []

    def run(number: int) -> None:
        gate.wait()
        try:
            act(number)
            outcomes.append("won")
        except NotAllowedNow as told:
            outcomes.append(f"told: {told}")
        except Exception as error:  # noqa: BLE001 - whatever else happens is what the test must see
            outcomes.append(f"broke: {error!r}")
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return dict(Counter(outcomes))


def main() -> dict[str, Any]:
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    call_command("migrate", verbosity=0)
    from printing import actions
    from printing.models import Plate, PrintCopy, Printer, PrintRequest, Room, Run, RunCopy, Spool
    from tests.printing.helpers import ALL_CHECKED, make_plate, ordered
    from tests.world import make_world

    world = make_world()
    first, second = ordered(world), ordered(world, world.second_team)
    plate = make_plate(world, first)
    other = make_plate(world, second, number=2)
    printers = world.printers

    def fresh(model: Any, row: Any) -> Any:
        return model.objects.get(pk=row.pk)

    found: dict[str, Any] = {}
    version = Room.objects.get(pk=world.room.pk).queue_version
    found["move"] = race(lambda _n: actions.move_request(fresh(PrintRequest, second), world.teacher, "up", version))
    found["order"] = race(lambda _n: actions.order_kit(first.submission, world.teacher))
    found["requests"] = PrintRequest.objects.count()
    found["start"] = race(
        lambda n: actions.start_plate(
            fresh(Plate, plate), fresh(Printer, printers[n % 2]), world.technician, ALL_CHECKED
        )
    )
    found["runs"] = Run.objects.count()
    run = Run.objects.get()
    found["second plate on the busy printer"] = race(
        lambda _n: actions.start_plate(fresh(Plate, other), fresh(Printer, run.printer), world.technician, ALL_CHECKED)
    )
    found["clear"] = race(
        lambda n: (
            actions.finish_run(fresh(Run, run), world.technician)
            if n % 2
            else actions.mark_failed(fresh(Run, run), world.technician, "jam")
        )
    )
    found["results"] = RunCopy.objects.count()
    found["copy states"] = sorted(set(PrintCopy.objects.filter(request=first).values_list("state", flat=True)))
    found["spool_g"] = Spool.objects.get(printer=run.printer_id).grams_left
    found["run outcome"] = Run.objects.get().outcome
    found["loads"] = race(lambda _n: actions.load_spool(Spool.objects.order_by("pk")[2], printers[1], world.technician))
    found["spools on Heron"] = Spool.objects.filter(printer=printers[1]).count()
    return found


if __name__ == "__main__":
    json.dump(main(), sys.stdout)
