"""The job of a what-if: the room as it is and as it would be, planned and played with the same luck."""

from __future__ import annotations

import time
from typing import Any

from django.utils import timezone

from lessons.models import Assignment
from makerlab.work.actions import set_progress
from makerlab.work.models import Job
from makerlab.work.registry import Apply
from planning.forecast import play
from planning.verify import minutes_late
from printing.models import WhatIf
from printing.planner.chances import SEED, risks_of
from printing.planner.choose import as_it_is, choose
from printing.planner.estimates import Estimates
from printing.planner.meetings import SAMPLES, figures_of_kits
from printing.planner.options import Option
from printing.planner.snapshot import take_snapshot
from printing.planner.values import Snapshot
from printing.whatif.changes import Changes
from printing.whatif.situation import situation


def consider(job: Job) -> Apply:
    """Plan the situation of the what-if. Only the what-if's own row is written."""
    row = WhatIf.objects.filter(pk=job.subject).first()
    if row is None:
        return lambda: None
    changes = Changes.from_json(row.changes)
    answer = compare(row.room_id, changes, lambda share: set_progress(job, share))

    def write() -> None:
        WhatIf.objects.filter(pk=row.pk, changes=row.changes).update(answer=answer, error="")

    return write


def compare(room_id: int, changes: Changes, progress: Any = lambda share: None) -> dict[str, Any]:
    """Both plans in figures."""
    begun = time.perf_counter()
    snapshot = take_snapshot(room_id, timezone.now())
    ids = {copy.assignment_id for copy in snapshot.copies.values()}
    ids |= {int(kit.id.partition(":")[0]) for kit in snapshot.kits}
    meeting_of = dict(Assignment.objects.filter(pk__in=ids).values_list("pk", "meeting_id"))
    estimates = Estimates(snapshot)
    known = as_it_is(snapshot, estimates)
    now = known[0] if known else choose(snapshot, estimates, lambda share: None).option
    progress(0.1)
    changed = situation(snapshot, changes, meeting_of)
    then = choose(changed, Estimates(changed), lambda share: progress(0.1 + 0.85 * share)).option
    return {
        "now": figures_of(snapshot, now),
        "then": figures_of(changed, then),
        "revision": snapshot.revision,
        "made_at": snapshot.now.isoformat(),
        "seconds": round(time.perf_counter() - begun, 2),
    }


def figures_of(snapshot: Snapshot, option: Option) -> dict[str, Any]:
    """What a plan takes and what it gives, by assignment where it is about a class."""
    problem, plan = option.posed.problem, option.plan
    late = minutes_late(problem, plan)
    courses = play(problem, plan, risks_of(snapshot, option.posed, plan), SAMPLES, SEED)
    groups: dict[str, list[str]] = {}
    for kit in snapshot.kits:
        groups.setdefault(kit.id.partition(":")[0], []).append(kit.id)
    return {
        "plates": len(option.posed.plates),
        "unplaced": option.worth.unplaced,
        "staff_min": option.worth.staff_min,
        "swaps": plan.objective.swaps,
        "mass_g": round(sum(figures.mass_g for figures in option.posed.figures), 1),
        "done_at": problem.calendar.to_datetime(option.worth.last_minute).isoformat(),
        "late_kits": sum(minutes > 0 for minutes in late.values()),
        "late_min": sum(late.values()),
        "classes": {
            key: figures_of_kits(problem, courses, kit_ids) | {"late_kits": sum(late[kit_id] > 0 for kit_id in kit_ids)}
            for key, kit_ids in sorted(groups.items())
        },
    }
