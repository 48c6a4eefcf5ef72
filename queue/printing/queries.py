"""What the pages of the room, the check and the demo ask for."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Count, Exists, FilteredRelation, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from lessons import measuring
from lessons.models import KitPart, SchoolClass
from makerlab.accounts.models import User
from makerlab.work.models import Job
from printing.actions.ground import IMPROVE_PLAN, PLAN_OUTLOOK, PLAN_ROOM
from printing.models import Plate, PrintCopy, Printer, Room, RoomPlan, Run, RunCopy
from printing.planner.snapshot import source_of
from printing.states import CopyState, Outcome, PlateState
from submissions.models import Submission


def rooms_of(user: User) -> list[Room]:
    """The rooms of the person's school in order."""
    return list(Room.objects.visible_to(user).select_related("school").order_by("id"))


def room_of(rooms: list[Room], chosen: object = None) -> Room | None:
    """The room a person's pages are about: the one they chose, else the first."""
    return next((room for room in rooms if room.pk == chosen), rooms[0] if rooms else None)


def room_for_check(school_id: int) -> measuring.Room:
    """What the check needs to know: the machine of most printers, and the largest box any of them holds."""
    printers = list(Printer.objects.filter(room__school_id=school_id).select_related("kind"))
    if not printers:
        return measuring.Room()
    most = Counter(printer.kind_id for printer in printers).most_common(1)[0][0]
    machine = next(printer.kind.machine_value() for printer in printers if printer.kind_id == most)
    kinds = {printer.kind_id: printer.kind for printer in printers}.values()
    largest = max(kinds, key=lambda kind: kind.width_mm * kind.depth_mm * kind.height_mm)
    margin = 2 * largest.margin_mm
    return measuring.Room(machine, (largest.width_mm - margin, largest.depth_mm - margin, largest.height_mm))


def newest_plan(room: Room) -> RoomPlan | None:
    """The plan that counts."""
    return RoomPlan.objects.filter(room=room).first()


def newest_plans(rooms: QuerySet[Room]) -> list[RoomPlan]:
    """The plans that count in these rooms; one query."""
    newest = RoomPlan.objects.filter(room=OuterRef("pk")).values("pk")[:1]
    keys = rooms.order_by().annotate(newest=Subquery(newest)).values("newest")
    return list(RoomPlan.objects.filter(pk__in=keys).order_by("room_id"))


def planning_job(room: Room) -> Job | None:
    """The planning that waits or runs; None when the plan is settled."""
    jobs = Job.objects.filter(kind=PLAN_ROOM, subject=str(room.pk))
    return jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING]).order_by("-id").first()


def improving_job(room: Room) -> Job | None:
    """The search for a better plan that waits or runs."""
    jobs = Job.objects.filter(kind=IMPROVE_PLAN, subject=str(room.pk))
    return jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING]).order_by("-id").first()


FAILED = "failed"  # the key of a planning that failed, among the room's jobs


def jobs_of(room: Room, plan: RoomPlan | None) -> dict[str, Job]:
    """By kind the newest of what is planned, improved or worked out for the room and its plan, while it waits or
    runs; under FAILED the newest planning, when it failed. One query."""
    return jobs_by_kind(jobs_wanted(room, plan).order_by("id"))


def jobs_wanted(room: Room, plan: RoomPlan | None) -> QuerySet[Job]:
    """The rows of ``jobs_of``."""
    planning = Job.objects.filter(kind=PLAN_ROOM, subject=str(room.pk))
    wanted = Q(kind__in=[PLAN_ROOM, IMPROVE_PLAN], subject=str(room.pk))
    if plan is not None:
        wanted |= Q(kind=PLAN_OUTLOOK, subject=str(plan.pk))
    goes_on = wanted & Q(state__in=[Job.State.WAITING, Job.State.RUNNING])
    newest = Q(pk=Subquery(planning.order_by("-id").values("pk")[:1]), state=Job.State.FAILED)
    return Job.objects.filter(goes_on | newest)


def jobs_by_kind(jobs: Iterable[Job]) -> dict[str, Job]:
    """``jobs``: the oldest first, so that of each kind the newest stays."""
    return {FAILED if job.state == Job.State.FAILED else job.kind: job for job in jobs}


def board_token(room: Room, job: Job | None, every_min: int = 1, now: datetime | None = None) -> str:
    """What a board saw: it asks with this and gets 204 while it is the same. Minutes left change with the clock, so
    the token does too, every so many minutes."""
    clock = int((now or timezone.now()).timestamp() // (60 * every_min))
    progress = "" if job is None else f"{round(job.progress * 20)}p"
    return f"{room.revision}.{progress}.{clock}"


def placed_copies(plate: Plate) -> list[PrintCopy]:
    """The copies of a plate in order of their numbers, with what the pages show of them."""
    related = ("request__submission", "request__kit_part", "request__team", "request__assignment__school_class")
    return list(
        plate.copies.select_related(*related)
        .defer("request__submission__picture", "request__kit_part__picture")
        .order_by("place", "id")
    )


def is_printing() -> Exists:
    """Of printers: whether a run goes on there."""
    return Exists(Run.objects.filter(printer=OuterRef("pk"), outcome=Outcome.RUNNING))


def copies_wanted(plate: Plate) -> dict[int, int]:
    """How many copies each request on a plate is for, by the request's id, those that were called off not counted."""
    rows = PrintCopy.objects.filter(request__copies__plate=plate).exclude(state=CopyState.CANCELLED)
    return dict(rows.values_list("request").annotate(wanted=Count("pk", distinct=True)).order_by())


def placed_parts_of(plate: Plate) -> list[dict[str, Any]]:
    """The copies of a plate as the mesh core takes them, in order of their numbers, where the plate's printer has them:
    an arrangement made for another bed is moved to the middle of this one."""
    dx, dy = bed_shift(plate)
    parts = []
    for copy in placed_copies(plate):
        measured = copy.request.source
        source = source_of(str(measured.pk), measured)
        if isinstance(source, str):
            continue
        parts.append(
            {
                "path": source.path,
                "name": source.name,
                "unit": source.unit,
                "pose": source.pose,
                "x_mm": (copy.x_mm or 0.0) + dx,
                "y_mm": (copy.y_mm or 0.0) + dy,
                "turn_deg": copy.turn_deg,
            }
        )
    return parts


def bed_shift(plate: Plate) -> tuple[float, float]:
    """How far the arrangement moves from the bed it was made for to the middle of the plate's printer."""
    if plate.printer is None:
        return (0.0, 0.0)
    kind = plate.printer.kind
    return ((kind.width_mm - plate.bed_width_mm) / 2, (kind.depth_mm - plate.bed_depth_mm) / 2)


def plate_code(plate: Plate, copies: Sequence[PrintCopy] | None = None) -> str:
    """Four characters that tell one arrangement of a plate from another: in file names and on the start form.
    ``copies``: its placed copies, where the caller has read them."""
    standing = placed_copies(plate) if copies is None else copies
    content = [[copy.request.source.sha256, copy.x_mm, copy.y_mm, copy.turn_deg] for copy in standing]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:4]


def file_name(plate: Plate, kind: str) -> str:
    """What a plate's file is called: its number and the code of its arrangement, never a name somebody typed."""
    return f"{plate}-{plate_code(plate)}.{kind}"


def unordered(user: User) -> list[Submission]:
    """Approved parts of this person's classes that have no print request: approved before there was a room."""
    return list(
        Submission.objects.visible_to(user)
        .filter(assignment__school_class__in=SchoolClass.objects.editable_by(user))
        .filter(state="approved", print_request__isnull=True)
        .select_related("kit_part", "team", "assignment__school_class", "assignment__plan")
        .light()
    )


def unmeasured_parts(room: Room) -> list[KitPart]:
    """Ordered kit parts that cannot be planned because their check is not done."""
    return [
        part
        for part in KitPart.objects.filter(print_requests__room=room).distinct().defer("report", "picture")
        if not part.is_printable
    ]


def printers_now(room: Room, now: datetime) -> list[Printer]:
    """In the order of the room, with kind, spool, the outage that covers now (``out_now``) and whether it prints
    (``is_busy``)."""
    covers = Q(outages__since__lte=now) & (Q(outages__until__isnull=True) | Q(outages__until__gt=now))
    found = (
        Printer.objects.filter(room=room)
        .annotate(out_now=FilteredRelation("outages", condition=covers), is_busy=is_printing())
        .select_related("kind", "spool", "out_now")
    )
    return list({printer.pk: printer for printer in found}.values())  # two outages may cover the same hour


def planned_plates(room: Room) -> list[Plate]:
    """Planned plates in order of time; those without a place in the plan last."""
    plates = Plate.objects.filter(room=room, state=PlateState.PLANNED).select_related("printer__kind", "printer__spool")
    return in_order_of_time(plates)


def in_order_of_time(plates: Iterable[Plate]) -> list[Plate]:
    """By set-up; those without a place in the plan last."""
    return sorted(plates, key=lambda plate: (plate.setup_at is None, plate.setup_at or plate.created_at, plate.number))


def plates_and_runs(room: Room, since: datetime) -> tuple[list[Plate], list[Run]]:
    """The planned plates in order of time, and the runs that go on or ended ``since`` then in the order of their
    starts, each with its plate and ``good_copies`` counted; one query, which looks for the few plates first: asked at
    once the database goes through all plates of the room, or through the runs of all rooms."""
    going_on = Run.objects.filter(Q(outcome=Outcome.RUNNING) | Q(ended_at__gte=since), printer__room=room)
    planned = Plate.objects.filter(room=room, state=PlateState.PLANNED)
    few = planned.order_by().values("pk").union(going_on.order_by().values("plate"))
    wanted = Q(runs__outcome=Outcome.RUNNING) | Q(runs__ended_at__gte=since)
    good = RunCopy.objects.filter(run=OuterRef("its_run__pk"), good=True).order_by().values("run")
    rows = (
        Plate.objects.filter(room=room, pk__in=few)
        .annotate(its_run=FilteredRelation("runs", condition=wanted))
        .filter(Q(state=PlateState.PLANNED) | Q(its_run__isnull=False))
        .annotate(good_copies=Subquery(good.annotate(count=Count("pk")).values("count")))
        .select_related("printer__kind", "printer__spool", "pin_printer", "pin_after")
        .select_related("its_run__printer__kind", "its_run__started_by")
    )
    plates: dict[int, Plate] = {}
    runs = []
    for row in rows:
        run: Run | None = getattr(row, "its_run", None)
        if run is not None:
            run.plate, run.good_copies = row, row.good_copies or 0  # type: ignore[attr-defined]
            runs.append(run)
        if row.state == PlateState.PLANNED:
            plates[row.pk] = row
    return in_order_of_time(plates.values()), sorted(runs, key=lambda run: (run.started_at, run.pk))
