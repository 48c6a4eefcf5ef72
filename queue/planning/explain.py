"""Why a plan is as it is, in figures: lateness per kit, load of staff and printers. Whoever shows them words them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from planning.calendar import StaffedDay
from planning.types import DayLoad, Explanation, KitLateness, Plan, PrinterState, Problem, WeekLoad
from planning.verify import minutes_late, served_minutes

Span = tuple[int, int]


def explain(problem: Problem, plan: Plan) -> Explanation:
    """Kit by kit, day by day and week by week."""
    weeks = tuple(_week(problem, monday, days) for monday, days in _weeks(problem))
    return Explanation(_kits(problem, plan), _days(problem, plan), weeks)


def _kits(problem: Problem, plan: Plan) -> tuple[KitLateness, ...]:
    served, late = served_minutes(problem, plan), minutes_late(problem, plan)
    found = []
    for kit in sorted(problem.kits, key=lambda kit: kit.id):
        minute = served[kit.id]
        if minute is None:
            minute = problem.now
        ready = minute if minute < problem.calendar.end else None
        found.append(KitLateness(kit.id, ready, kit.deadline_minute, late[kit.id]))
    return tuple(found)


def _overlap(spans: Iterable[Span], start: int, end: int) -> int:
    return sum(max(0, min(end, last) - max(start, first)) for first, last in spans)


def _percent(used: float, there: float) -> float:
    """Used of what is there; infinite when something is wanted and nothing is there."""
    if there > 0:
        return 100.0 * used / there
    return float("inf") if used > 0 else 0.0


def _staff_minutes(problem: Problem, start: int, end: int) -> int:
    """Person-minutes in ``[start, end)``, from now on."""
    start = max(start, problem.now)
    return sum(part.staff * _overlap([(part.start, part.end)], start, end) for part in problem.calendar.staffed)


def _days(problem: Problem, plan: Plan) -> tuple[DayLoad, ...]:
    actions = [(run.setup_start, run.start) for run in plan.runs]
    actions += [(run.clear_start, run.clear_end) for run in plan.runs]
    actions += [(clear.clear_start, clear.clear_end) for clear in plan.clears]
    found = []
    for day in problem.calendar.days:
        if day.end <= problem.now:
            continue
        technician = _percent(_overlap(actions, day.start, day.end), _staff_minutes(problem, day.start, day.end))
        loads = {printer.id: _printer_percent(problem, plan, printer, day) for printer in problem.printers}
        found.append(DayLoad(day.day, technician, loads))
    return tuple(found)


def _printer_percent(problem: Problem, plan: Plan, printer: PrinterState, day: StaffedDay) -> float:
    """Share of the staffed day, outages taken off, in which the printer is set up, prints or waits to be cleared."""
    start = max(day.start, problem.now)
    busy = [(run.setup_start, run.clear_end) for run in plan.runs if run.printer_id == printer.id]
    busy += [(problem.now, clear.clear_end) for clear in plan.clears if clear.printer_id == printer.id]
    there = day.end - start - _overlap([(outage.start, outage.end) for outage in printer.outages], start, day.end)
    return min(100.0, _percent(_overlap(busy, start, day.end), max(0, there)))


def _weeks(problem: Problem) -> list[tuple[date, list[StaffedDay]]]:
    """Mondays and the staffed days up to the end of that week, from now on: what is due by then shares all of them."""
    weeks: dict[date, list[StaffedDay]] = {}
    so_far: list[StaffedDay] = []
    for day in problem.calendar.days:
        if day.end > problem.now:
            so_far.append(day)
            weeks[day.day - timedelta(days=day.day.weekday())] = list(so_far)
    return sorted(weeks.items())


def _week(problem: Problem, monday: date, days: list[StaffedDay]) -> WeekLoad:
    """Work due by the end of the week at the very least, against all that is there until then."""
    end = days[-1].end
    due = {kit.id for kit in problem.kits if kit.deadline_minute is not None and kit.deadline_minute <= end}
    plates = [plate for plate in problem.plates if due.intersection(plate.kit_ids) and plate.duration_min]
    rules = problem.rules
    clears = sum(printer.running and bool(due.intersection(printer.running_kit_ids)) for printer in problem.printers)
    wanted_min = len(plates) * (rules.start_min + rules.clear_min) + clears * rules.clear_min
    there_min = _staff_minutes(problem, days[0].start, end)
    technician = _percent(wanted_min, there_min)
    printing = sum(min(plate.duration_min.values()) + rules.start_min + rules.clear_min for plate in plates)
    printers = _percent(printing, sum(_printer_minutes(problem, printer, days) for printer in problem.printers))
    too_many_min = max(0, wanted_min - there_min)
    return WeekLoad(monday, days[-1].day, technician, printers, too_many_min)


def _printer_minutes(problem: Problem, printer: PrinterState, days: list[StaffedDay]) -> int:
    """Minutes in which a printer can be set up, print or be cleared until the last of these days ends."""
    start, end = max(problem.now, printer.ready_minute), days[-1].end
    unattended = problem.rules.unattended_allowed and printer.may_run_unattended
    spans: list[Span] = [(start, end)] if unattended else [(max(day.start, start), day.end) for day in days]
    outages = [(outage.start, outage.end) for outage in printer.outages]
    return sum(max(0, last - first - _overlap(outages, first, last)) for first, last in spans if last > first)
