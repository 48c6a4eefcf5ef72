"""How sure each meeting is, which failure would hurt it most, and what would help: worked out beside the plan.

Everything is played and planned by ``planning``; the facts hold figures only, the pages word them.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from django.utils import timezone

from makerlab.work.actions import set_progress
from makerlab.work.models import Job
from makerlab.work.registry import Apply
from planning.calendar import Calendar
from planning.forecast import Courses, play
from planning.harm import HarmfulFailure, Outlook, most_harmful
from planning.help import Effect, Effort, Help, Remedies, Remedy, what_would_help
from planning.plates import lay_out
from planning.types import Item, Plan, Problem, Risk, Shape, Stop
from planning.variants import Lighter
from printing.models import RoomPlan
from printing.planner.chances import SEED, risks_of
from printing.planner.choose import as_it_is
from printing.planner.estimates import Estimates
from printing.planner.options import Option
from printing.planner.problem import expected_s, minutes_of
from printing.planner.snapshot import take_snapshot
from printing.planner.values import LIGHT_INFILL, Laid, Snapshot

SAMPLES = 1000
SEARCH = Stop(seconds=0.2)
HELP_S = 6.0  # for one meeting
LIGHTER_PLATES = 12  # each is estimated anew


def work_out(job: Job) -> Apply:
    """The outlook of the plan of the job; nothing when another plan has followed it."""
    plan = RoomPlan.objects.select_related("room").filter(pk=job.subject).first()
    if plan is None or not _counts(plan):
        return lambda: None
    snapshot = take_snapshot(plan.room_id, timezone.now())
    estimates = Estimates(snapshot)
    found = as_it_is(snapshot, estimates)
    if snapshot.revision != plan.facts.get("revision") or found is None:
        return lambda: None
    begun = time.perf_counter()
    outlook = outlook_of_room(snapshot, estimates, found[0], lambda share: set_progress(job, share))
    outlook["seconds"] = round(time.perf_counter() - begun, 2)

    def write() -> None:
        estimates.keep()
        if _counts(plan):
            plan.refresh_from_db(fields=["facts"])
            plan.facts["outlook"] = outlook
            plan.save(update_fields=["facts"])

    return write


def _counts(plan: RoomPlan) -> bool:
    return RoomPlan.objects.filter(room=plan.room_id).values_list("pk", flat=True).first() == plan.pk


def outlook_of_room(
    snapshot: Snapshot, estimates: Estimates, option: Option, progress: Any = lambda share: None
) -> dict[str, Any]:
    """By assignment, as text: the figures of ``_meeting``. Meetings that have begun are left out."""
    problem, plan = option.posed.problem, option.plan
    risks = risks_of(snapshot, option.posed, plan)
    groups: dict[str, list[str]] = {}
    for kit in snapshot.kits:
        if kit.deadline > snapshot.now:
            groups.setdefault(kit.id.partition(":")[0], []).append(kit.id)
    remedies = Remedies(
        no_room_for_spare=_full(snapshot, option),
        lighter=_lighter(snapshot, estimates, option, {kit for kits in groups.values() for kit in kits}),
    )
    found = {}
    for done, (assignment, kit_ids) in enumerate(sorted(groups.items())):
        found[assignment] = _meeting(option, problem, plan, risks, kit_ids, remedies)
        progress((done + 1) / len(groups))
    return {"by_assignment": found, "made_at": snapshot.now.isoformat()}


def _meeting(
    option: Option,
    problem: Problem,
    plan: Plan,
    risks: Mapping[str, Risk],
    kit_ids: Sequence[str],
    remedies: Remedies,
) -> dict[str, Any]:
    courses = play(problem, plan, risks, SAMPLES, SEED)
    harm = most_harmful(problem, plan, risks, kit_ids, top=1, samples=SAMPLES, seed=SEED)
    effort = Effort(stop=SEARCH, samples=SAMPLES, seconds=HELP_S, seed=SEED)
    helped = what_would_help(problem, plan, risks, kit_ids, remedies, effort)
    return {
        **figures_of_kits(problem, courses, kit_ids),
        "worst": _worst(option, harm[0]) if harm else None,
        "help": [_effect(helped, effect) for effect in helped.effects],
        "best": _effect(helped, helped.best) if helped.best else None,
        "not_tried": [remedy.value for remedy in helped.not_tried],
        "seconds": round(helped.seconds, 2),
    }


def figures_of_kits(problem: Problem, courses: Courses, kit_ids: Sequence[str]) -> dict[str, Any]:
    """Of the kits of one meeting: the chance that all are served in time, how many to expect, and when all of them are
    there in half and in nine tenths of the courses."""
    columns = [courses.kit_ids.index(kit_id) for kit_id in kit_ids]
    due = {kit.id: kit.deadline_minute for kit in problem.kits}
    deadline = np.array([due[kit_id] for kit_id in kit_ids])
    minutes = courses.kit_min[:, columns]
    last = minutes.max(axis=1)
    return {
        "kits": len(kit_ids),
        "deadline": _iso(problem.calendar, int(deadline.min())),
        "chance": float((minutes <= deadline).all(axis=1).mean()),
        "expected_kits": float((minutes <= deadline).sum(axis=1).mean()),
        "likely_at": _quantile(problem.calendar, last, 0.5),
        "nearly_sure_at": _quantile(problem.calendar, last, 0.9),
    }


def _iso(calendar: Calendar, minute: int) -> str:
    return calendar.to_datetime(minute).isoformat()


def _quantile(calendar: Calendar, minutes: Any, share: float) -> str | None:
    """The first moment by which that share of the courses is there; None beyond the calendar."""
    at = int(np.sort(minutes)[int(np.ceil(share * len(minutes))) - 1])
    return _iso(calendar, max(at, 0)) if at < calendar.end else None


def _outlook(outlook: Outlook) -> dict[str, float]:
    return {"chance": outlook.chance_all, "expected_kits": outlook.expected_kits}


def _worst(option: Option, harm: HarmfulFailure) -> dict[str, Any]:
    laid = option.posed.plates[int(harm.plate_id)]
    return {
        "plate": laid.plate_id,
        "printer": int(harm.printer_id),
        "at": _iso(option.posed.problem.calendar, harm.setup_start),
        "fails_in": harm.fail_chance,
        "before": _outlook(harm.before),
        "after": _outlook(harm.after),
        "hurts": list(harm.hurt_kit_ids),
    }


def _effect(helped: Help, effect: Effect) -> dict[str, Any]:
    spares = sum(plate.spares > 0 for plate in effect.problem.plates) if effect.remedy is Remedy.SPARES else None
    return {
        "remedy": effect.remedy.value,
        **_outlook(effect.outlook),
        "others": _outlook(effect.others),
        "staff_hours": round(effect.staff_hours - helped.now.staff_hours, 2),
        "grams": round(effect.grams - helped.now.grams, 1),
        "day": effect.day.isoformat() if effect.day else None,
        "minutes": effect.minutes,
        "printer": int(effect.printer_id) if effect.printer_id else None,
        "days_later": effect.days_later,
        "plates": spares,
        "lost": max(0, effect.unplaced - helped.now.unplaced),
    }


def _full(snapshot: Snapshot, option: Option) -> frozenset[str]:
    """Plates whose bed has no room for one more copy of the largest part on them, or that may take no longer since
    their start is fixed."""
    return frozenset(
        job.id
        for job in option.posed.problem.plates
        if job.pin.setup_start is not None or not _has_room(snapshot, option.posed.plates[int(job.id)])
    )


def _has_room(snapshot: Snapshot, laid: Laid) -> bool:
    copies = [snapshot.copies[place.copy_id] for place in laid.places]
    largest = max(copies, key=lambda copy: copy.source.mass_g)
    items = [
        Item(str(at), Shape(copy.source.footprint, copy.source.height_mm), laid.material, laid.colour, None)
        for at, copy in enumerate([*copies, largest])
    ]
    kinds = [kind for kind in snapshot.kinds if laid.kind_id in (None, kind.id)]
    return any(_on_one_plate(items, kind.bed, snapshot.gap_mm) for kind in kinds)


def _on_one_plate(items: Sequence[Item], bed: Any, gap_mm: float) -> bool:
    try:
        return len(lay_out(items, bed, gap_mm)) == 1
    except ValueError:
        return False


def _lighter(snapshot: Snapshot, estimates: Estimates, option: Option, kit_ids: set[str]) -> dict[str, Lighter]:
    """What less infill makes of the first plates that serve these kits, estimated anew; without gain none."""
    wanted = [job for job in option.posed.problem.plates if kit_ids.intersection(job.kit_ids)]
    lights: list[tuple[str, Laid]] = []
    for job in wanted[:LIGHTER_PLATES]:
        laid = option.posed.plates[int(job.id)]
        settings = json.loads(laid.settings)
        if settings.get("infill_share", 0.0) > LIGHT_INFILL:
            settings["infill_share"] = LIGHT_INFILL
            lights.append((job.id, replace(laid, settings=json.dumps(settings, sort_keys=True))))
    figures = estimates.exact([laid for _id, laid in lights])
    found = {}
    for (job_id, laid), plate in zip(lights, figures, strict=True):
        if plate.unknown or not plate.durations_s:
            continue
        minutes = {
            str(printer.id): minutes_of(expected_s(snapshot, printer, laid, plate.durations_s[printer.kind.id]))
            for printer in snapshot.printers
            if printer.kind.id in plate.durations_s
        }
        found[job_id] = Lighter(minutes, plate.mass_g)
    return found
