"""What a plate's page reads in one question: the room's hours, the run, the other planned plates, work going on."""

from __future__ import annotations

from dataclasses import dataclass

from makerlab.together import rows_as, together, whole
from makerlab.work.models import Job
from printing.actions.arrange import ESTIMATE_PLATE
from printing.hours import Bells, bells_from, wanted_of
from printing.models import Plate, Printer, Run
from printing.states import PlateState


@dataclass(frozen=True)
class PlateRead:
    """``run``: the newest, with its printer. ``others``: key and name of the room's other planned plates, in order of
    their numbers. ``working``: whether its grams and minutes are worked out now."""

    bells: Bells
    run: Run | None
    others: list[tuple[int, str]]
    working: bool


def read_plate(plate: Plate) -> PlateRead:
    """One query."""
    going = [Job.State.WAITING, Job.State.RUNNING]
    found = together(
        **wanted_of(plate.room),
        runs=(Run.objects.filter(plate=plate), (*whole(Run), "printer__name")),
        others=(Plate.objects.filter(room=plate.room, state=PlateState.PLANNED).exclude(pk=plate.pk), ("number", "pk")),
        jobs=(Job.objects.filter(kind=ESTIMATE_PLATE, subject=str(plate.pk), state__in=going), ("pk",)),
    )
    runs = rows_as(Run, found["runs"])
    for run, row in zip(runs, found["runs"], strict=True):
        run.printer = Printer(pk=run.printer_id, name=row[-1])
    return PlateRead(
        bells=bells_from(found, plate.room),
        run=max(runs, key=lambda run: (run.started_at, run.pk), default=None),
        others=[(key, str(Plate(number=number))) for number, key in sorted(found["others"])],
        working=bool(found["jobs"]),
    )
