"""What the pages tell of a plan, all of it computed; times are ISO 8601 in UTC."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from statistics import mean
from typing import Any

from planning.calendar import Calendar
from planning.explain import explain
from planning.failures import two_hour_share
from planning.learned import ASSUMED
from planning.types import Explanation, Plan
from planning.verify import minutes_late, served_minutes
from printing.planner.chances import Chances
from printing.planner.choose import Choice, Tried
from printing.planner.options import Option
from printing.planner.values import Snapshot
from telling import as_data

FULL_PERCENT = 100


def facts_of(snapshot: Snapshot, choice: Choice, numbers: list[int], before: dict[str, Any]) -> dict[str, Any]:
    """The facts of a plan; ``before``: those of the plan it follows, whose table of plate sizes stands until a first
    answer is worked out further."""
    option, calendar = choice.option, choice.calendar
    problem, plan = option.posed.problem, option.plan
    explanation = explain(problem, plan)
    return {
        "way": option.code,
        "method": plan.method,
        "objective": {
            "weighted_tardiness": plan.objective.weighted_tardiness,
            "late_weight": plan.objective.late_weight,
            "swaps": plan.objective.swaps,
            "completion": plan.objective.completion,
        },
        "violations": 0,  # checked by planning.verify before it came here
        "changes": plan.changes,
        "sizes": before.get("sizes", []) if choice.is_first_answer else _sizes(choice),
        "sizes_at": before.get("sizes_at") if choice.is_first_answer else _iso(snapshot.now),
        "laid_as": choice.laid_as,
        "is_first_answer": choice.is_first_answer,
        "follows_order": choice.follows_order if choice.is_first_answer else before.get("follows_order", False),
        "stay": asdict(choice.stay) if choice.stay else None,
        "staff_min": option.worth.staff_min,
        "mass_g": sum(figures.mass_g for figures in option.posed.figures),
        "kits": _kits(snapshot, option, choice.chances),
        "chance_all": choice.chances.everything,
        "chance_by_assignment": choice.chances.group,
        "risk": risk_told(choice),
        "unplaced": {str(copy_id): as_data(why) for copy_id, why in {**snapshot.unplaced, **option.misfits}.items()},
        "clashes": [as_data(clash) for clash in choice.clashes],
        "clears": [
            {"printer": int(clear.printer_id), "at": _iso(calendar.to_datetime(clear.clear_start))}
            for clear in plan.clears
        ],
        "loads": loads_of(explanation, plan, calendar, problem.now),
        "overload": [
            {
                "until": week.last_day.isoformat(),
                "staff_percent": _whole(week.technician_percent),
                "printer_percent": _whole(week.printer_percent),
                "too_many_min": week.too_many_min,
            }
            for week in explanation.weeks
            if max(week.technician_percent, week.printer_percent) > FULL_PERCENT
        ],
        "numbers": numbers,
    }


def _sizes(choice: Choice) -> list[dict[str, Any]]:
    """The table of plate sizes. Times in UTC; chances by assignment as JSON has them, keyed by text."""
    return [_size(choice, tried) for tried in choice.tried]


def _size(choice: Choice, tried: Tried) -> dict[str, Any]:
    figures = asdict(tried)
    figures["done_at"] = _iso(choice.calendar.to_datetime(figures.pop("done_minute")))
    return figures | {
        "chosen": tried.code == choice.option.code,
        "recommended": tried.code == choice.recommended,
    }


def _iso(moment: datetime) -> str:
    return moment.isoformat()


def risk_told(choice: Choice) -> dict[str, Any]:
    """How unsure the plan's prints are, on average over its plates; ``known`` counts those on a printer whose minutes
    are learned from runs."""
    risks = list(choice.risks.values()) or [ASSUMED]
    return {
        "fail_in_100_two_hour_prints": round(100 * mean(two_hour_share(risk) for risk in risks)),
        "spread_percent": round(100 * mean(risk.duration_spread for risk in risks)),
        "known": choice.learned_plates,
        "plates": len(choice.risks),
    }


def _kits(snapshot: Snapshot, option: Option, chances: Chances) -> list[dict[str, Any]]:
    problem = option.posed.problem
    served = served_minutes(problem, option.plan)
    late = minutes_late(problem, option.plan)
    lost = _kits_without_place(snapshot, option)
    rows = []
    for kit in snapshot.kits:
        minute = served[kit.id]
        ready = None if minute is None or kit.id in lost else _iso(problem.calendar.to_datetime(minute))
        assignment_id, _, team_id = kit.id.partition(":")
        rows.append(
            {
                "assignment": int(assignment_id),
                "team": int(team_id),
                "name": kit.name,
                "ready_at": ready,
                "deadline": _iso(kit.deadline),
                "late_min": late[kit.id],
                "chance": 0.0 if kit.id in lost else chances.kit.get(kit.id),
                "likely_at": _iso(likely) if (likely := chances.likely_at.get(kit.id)) else None,
                "nearly_sure_at": _iso(sure) if (sure := chances.nearly_sure_at.get(kit.id)) else None,
            }
        )
    return rows


def _kits_without_place(snapshot: Snapshot, option: Option) -> set[str]:
    """Kits with a copy that has no place in the plan: nobody knows when they are ready."""
    placed = {run.plate_id for run in option.plan.runs}
    lost = [
        copy_id for at, laid in enumerate(option.posed.plates) if str(at) not in placed for copy_id in laid.copy_ids
    ]
    kits = {snapshot.copies[copy_id].kit_id for copy_id in (*lost, *option.misfits)}
    return {kit for kit in kits if kit}


def loads_of(explanation: Explanation, plan: Plan, calendar: Calendar, now: int) -> list[dict[str, Any]]:
    """Day by day, where something is planned: hands and printers against what there is, as ``planning.explain`` counts
    it; the staff's minutes and turns behind the percentage."""
    spans = {day.day: (day.start, day.end) for day in calendar.days}
    actions = [(run.setup_start, run.start) for run in plan.runs]
    actions += [(run.clear_start, run.clear_end) for run in plan.runs]
    actions += [(clear.clear_start, clear.clear_end) for clear in plan.clears]
    rows = []
    for load in explanation.days:
        start, end = spans[load.day]
        turns = [(first, last) for first, last in actions if start <= first < end]
        if not turns:
            continue
        staffed = [part for part in calendar.staffed if start <= part.start < end and part.end > now]
        rows.append(
            {
                "day": load.day.isoformat(),
                "staff_min": sum(last - first for first, last in turns),
                "staff_there_min": sum((part.end - max(part.start, now)) * part.staff for part in staffed),
                "staff_percent": _whole(load.technician_percent),
                "turns": len(turns),
                "printers": [
                    {"printer": int(printer_id), "percent": _whole(percent)}
                    for printer_id, percent in load.printer_percent.items()
                ],
            }
        )
    return rows


def _whole(percent: float) -> int:
    """Whole percent; JSON has no infinity, and past 999 % nothing more is said."""
    return round(min(percent, 999.0))
