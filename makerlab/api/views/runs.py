"""Runs: what prints and how prints went."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Router, Schema
from pydantic import AwareDatetime, Field

from makerlab.api.door import ApiRequest
from makerlab.api.problems import Refused
from makerlab.api.scopes import Scope
from makerlab.api.views.common import After, Key, Limit, Page, Sent, Since, minutes, needs, one, page
from makerlab.audit.models import Event
from printing import actions
from printing.learning import Seen
from printing.models import PrintCopy, Run
from printing.states import Outcome

router = Router(tags=["runs"])
RunOutcome = Literal["running", "finished", "partly_good", "failed", "stopped"]


class RunOut(Schema):
    """One attempt to print a plate. ``used_g`` was taken off the spool; null while it runs."""

    id: int
    room: int
    plate: int
    plate_number: int
    printer: int
    outcome: str
    started_at: datetime
    expected_end_at: datetime
    ended_at: datetime | None
    expected_minutes: float
    estimate_g: float
    used_g: float | None


class RunCopyOut(Schema):
    """A copy on the plate. ``good`` is null while it prints; ``reason`` says why one was lost."""

    copy_id: int
    place: int | None
    team: int | None
    kit_part: int
    good: bool | None
    reason: str


class RunWhole(RunOut):
    """With its copies."""

    copies: list[RunCopyOut]


@router.get("/runs", response=Page[RunOut], url_name="run-list", **needs(Scope.RUNS_READ))
def run_list(
    request: ApiRequest,
    room: Key | None = None,
    outcome: RunOutcome | None = None,
    since: Since = None,
    limit: Limit = 50,
    after: After = None,
) -> dict[str, Any]:
    """Runs of the school's rooms."""
    rows = own_runs(request)
    if room is not None:
        rows = rows.filter(plate__room=room)
    if outcome is not None:
        rows = rows.filter(outcome=outcome)
    if since is not None:
        events = Event.objects.of_school(request.user.school_id).filter(subject_kind="run", at__gte=since)
        changed = [int(pk) for pk in set(events.values_list("subject_id", flat=True))]
        rows = rows.filter(Q(started_at__gte=since) | Q(pk__in=changed))
    found, more = page(rows, limit, after)
    return {"items": [run_out(row) for row in found], "next": more}


def own_runs(request: ApiRequest) -> QuerySet[Run]:
    """What this token's owner sees."""
    found: QuerySet[Run] = Run.objects.visible_to(request.user).select_related("plate__room", "printer")
    return found


def run_out(row: Run) -> dict[str, Any]:
    """A run as the interface tells it."""
    same = ("outcome", "started_at", "expected_end_at", "ended_at", "estimate_g", "used_g")
    return {
        **{name: getattr(row, name) for name in same},
        "id": row.pk,
        "room": row.plate.room_id,
        "plate": row.plate_id,
        "plate_number": row.plate.number,
        "printer": row.printer_id,
        "expected_minutes": minutes((row.expected_end_at - row.started_at).total_seconds()),
    }


def run_whole(row: Run) -> dict[str, Any]:
    """With the copies it prints, or those it printed."""
    copies: list[tuple[PrintCopy, bool | None, str]]
    if row.outcome == Outcome.RUNNING:
        copies = [(copy, None, "") for copy in row.plate.copies.select_related("request").order_by("place", "id")]
    else:
        results = row.results.select_related("copy__request").order_by("copy__place", "copy_id")
        copies = [(result.copy, result.good, result.reason) for result in results]
    told = [
        {
            "copy_id": copy.pk,
            "place": copy.place,
            "team": copy.request.team_id,
            "kit_part": copy.request.kit_part_id,
            "good": good,
            "reason": reason,
        }
        for copy, good, reason in copies
    ]
    return {**run_out(row), "copies": told}


@router.get("/runs/{pk}", response=RunWhole, url_name="run-detail", **needs(Scope.RUNS_READ))
def run_detail(request: ApiRequest, pk: Key) -> dict[str, Any]:
    """One run with its copies: their ids are what a report names."""
    return run_whole(one(own_runs(request), pk))


Reason = Literal[
    "came_off", "warped", "spaghetti", "jam", "layer_shift", "ran_out", "power", "support", "wrong_file", "broke"
]


class LostIn(Sent):
    """A copy that was lost, by its id, and why."""

    copy_id: Key
    reason: Reason


class ReportIn(Sent):
    """How a run went. ``lost`` with partly_good, ``reason`` with failed. ``is_cool``: nozzle and bed are cool, which
    must be so before anything is taken off; needed with finished and partly_good. ``print_ended_at``: when the printer
    itself stopped; ``weighed_g``: what all prints of the plate weigh."""

    outcome: Literal["finished", "partly_good", "failed", "stopped"]
    lost: Annotated[list[LostIn], Field(max_length=500)] = []
    reason: Reason | None = None
    is_cool: bool = False
    print_ended_at: AwareDatetime | None = None
    weighed_g: Annotated[float, Field(gt=0, le=10_000, allow_inf_nan=False)] | None = None


@router.post("/runs/{pk}/report", response=RunWhole, url_name="run-report", **needs(Scope.RUNS_WRITE))
def run_report(request: ApiRequest, pk: Key, told: ReportIn) -> dict[str, Any]:
    """Say how a run went: good copies go to their trays, lost ones back into the queue, the room is planned again."""
    run: Run = one(own_runs(request), pk)
    _check(told)
    now, seen = timezone.now(), Seen(told.print_ended_at, told.weighed_g)
    if told.outcome == "finished":
        actions.finish_run(run, request.user, now, seen)
    elif told.outcome == "partly_good":
        lost = {each.copy_id: each.reason for each in told.lost}
        actions.mark_partly(run, request.user, lost, now, seen)
    elif told.outcome == "failed":
        actions.mark_failed(run, request.user, told.reason or "", now, seen)
    else:
        actions.stop_run(run, request.user, now, seen)
    return run_whole(one(own_runs(request), pk))


def _check(told: ReportIn) -> None:
    """What belongs together, as the bench's form asks for it. Raises Refused."""
    if told.outcome in {"finished", "partly_good"} and not told.is_cool:
        raise Refused(_("Nozzle and bed must be cool before anything is taken off: is_cool."), "not_cool")
    if bool(told.lost) != (told.outcome == "partly_good"):
        raise Refused(_("Lost copies are named with partly_good, and only with that."))
    if (told.reason is not None) != (told.outcome == "failed"):
        raise Refused(_("A reason is given with failed, and only with that."))
