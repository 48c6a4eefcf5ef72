"""What the printing tests share beyond tests/world.py: an approved wheel, a plate, a run."""

from __future__ import annotations

import hashlib
from datetime import time, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone

from lessons.measuring import apply_measurement
from lessons.models import KitPart, Team
from makerlab.work.actions import claim, run, run_waiting
from makerlab.work.models import Job
from meshcheck import service
from printing import actions
from printing.actions.bench import Checks
from printing.models import Outage, Plate, PrintCopy, Printer, PrintRequest, Room, RoomHours, Run
from printing.states import CopyState
from submissions.models import Submission
from tests.world import World

ALL_CHECKED = Checks(right_spool=True, bed_clear=True, file_loaded=True, staying=True)


def approved_wheel(world: World, team: Team | None = None, **values: Any) -> Submission:
    """A measured, approved wheel of a team, figures only (tests that need the mesh store a real file)."""
    team = team or world.team
    before = Submission.objects.filter(team=team, kit_part=world.wheel).count()
    defaults: dict[str, Any] = {
        "file_name": "our wheel.stl",
        "sha256": "1" * 64,
        "check_state": "checked",
        "verdict": "ok",
        "report": world.wheel.report,
        "mass_g": 11.0,
        "duration_s": 1900.0,
        "width_mm": 60.0,
        "depth_mm": 60.0,
        "height_mm": 8.0,
        "state": "approved",
        "version": before + 1,
    }
    return Submission.objects.create(
        assignment=world.assignment, kit_part=world.wheel, team=team, **{**defaults, **values}
    )


def ordered(world: World, team: Team | None = None, **values: Any) -> PrintRequest:
    """The print request of an approved wheel; the kit's other parts are ordered with it."""
    submission = approved_wheel(world, team, **values)
    actions.order_kit(submission, world.teacher)
    return PrintRequest.objects.get(submission=submission)


def make_plate(world: World, request: PrintRequest | None = None, number: int = 1, **values: Any) -> Plate:
    """A planned plate with the waiting copies of a request, side by side, on the square printers."""
    request = request or ordered(world)
    square = world.printers[:2]
    defaults: dict[str, Any] = {
        "material": "PLA",
        "colour": "white",
        "settings": {},
        "bed_width_mm": 220.0,
        "bed_depth_mm": 220.0,
        "mass_g": 44.0,
        "durations_s": {str(printer.pk): 7200.0 for printer in square},
        "printer": square[0],
        "starts_at": timezone.now(),
    }
    plate = Plate.objects.create(room=world.room, number=number, **{**defaults, **values})
    for place, copy in enumerate(request.copies.filter(state=CopyState.WAITING)):
        PrintCopy.objects.filter(pk=copy.pk).update(
            plate=plate,
            state=CopyState.PLANNED,
            place=place + 1,
            x_mm=40.0 + 65 * (place % 2),
            y_mm=40.0 + 65 * (place // 2),
        )
    return plate


def started(world: World, plate: Plate | None = None, printer: Printer | None = None, **values: Any) -> Run:
    plate = plate or make_plate(world)
    return actions.start_plate(plate, printer or world.printers[0], world.technician, ALL_CHECKED, **values)


def states(request: PrintRequest) -> list[str]:
    return [copy.state for copy in request.copies.order_by("number")]


def spare_part(world: World, code: str, **values: Any) -> KitPart:
    from tests.world import make_kit_part

    return make_kit_part(world.plan, code, **values)


def at(**ago: float):
    """A moment that long ago."""
    return timezone.now() - timedelta(**ago)


KIT_MESHES = Path(__file__).resolve().parents[2] / "demo_fixtures" / "meshes"


@cache
def measured(path: str) -> dict[str, Any]:
    """What the real check says about a demo file."""
    return service.measure(str(KIT_MESHES / path), path.rpartition("/")[2], None, {}, {}, {}, None)


def give_file(item: KitPart | Submission, path: str = "kit/wheel.stl") -> None:
    """Store a real mesh of the demo with what the real check says about it."""
    data = (KIT_MESHES / path).read_bytes()
    item.file.save("", ContentFile(data), save=False)
    item.file_name = path.rpartition("/")[2]
    item.sha256 = hashlib.sha256(data).hexdigest()
    item.save()
    assert apply_measurement(item, {**measured(path), "shown": None, "check_s": 0.1})  # nobody looks at it in 3D here
    item.refresh_from_db()


def with_meshes(world: World) -> World:
    """The world's wheel and chassis with real meshes."""
    give_file(world.wheel, "kit/wheel.stl")
    give_file(world.chassis, "kit/chassis.stl")
    return world


def ordered_mesh(world: World, team: Team | None = None, path: str = "kit/wheel.stl", **values: Any) -> PrintRequest:
    """As ``ordered``, with a real file behind the submission."""
    submission = approved_wheel(world, team, **values)
    give_file(submission, path)
    actions.order_kit(submission, world.teacher)
    return PrintRequest.objects.get(submission=submission)


def plan_now() -> int:
    """Do the planning that waits, in this process: first answers, then better plans; returns how many jobs ran."""
    done = run_waiting("plan")
    while better := Job.objects.filter(kind="improve-plan", state=Job.State.WAITING).order_by("id").first():
        if (job := claim(job_id=better.pk)) is not None:
            run(job)
        done += 1 + run_waiting("plan")
    return done


def one_printer(world: World) -> tuple[PrintRequest, PrintRequest]:
    """Two teams, one printer that is served around the clock, and lab days a month away: nobody can be late."""
    with_meshes(world)
    Room.objects.update(frozen_min=0, unattended_allowed=True)
    world.room.printers.update(may_run_unattended=True)
    RoomHours.objects.filter(starts_at__gte=time(12)).delete()
    RoomHours.objects.update(starts_at=time(0), ends_at=time(23, 59))
    for printer in world.printers[1:]:
        Outage.objects.create(printer=printer, since=timezone.now() - timedelta(hours=1), reason="belt")
    world.meeting.starts_at += timedelta(days=30)
    world.meeting.ends_at += timedelta(days=30)
    world.meeting.save()
    first, second = ordered_mesh(world), ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")
    plan_now()
    return first, second


def served(world: World) -> list[Team]:
    """The two teams in the order in which they have all their parts."""
    last = {
        team: max(copy.plate.cleared_at for copy in PrintCopy.objects.filter(request__team=team))
        for team in (world.team, world.second_team)
    }
    return sorted(last, key=lambda team: last[team])
