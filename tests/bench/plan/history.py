"""What really happens, by a second hand: a plain event simulation in Python that shares no code with the forecast.

Staff keep to the plan as the forecast's documentation says: the planned order on every printer, planned minutes where
they can be kept, whoever asks first is served first. Prints fail and take longer as the true risk says.
"""

from __future__ import annotations

import math

import numpy as np

from planning.types import Plan, PlateJob, PrinterState, Problem, Risk


class History:
    """One course of one plan."""

    def __init__(self, problem: Problem, plan: Plan, truth: Risk, random: np.random.Generator) -> None:
        self.problem, self.truth, self.random = problem, truth, random
        self.plates = {plate.id: plate for plate in problem.plates}
        self.free = np.zeros(problem.calendar.end + 1, np.int64)
        for part in problem.calendar.staffed:
            self.free[part.start : part.end] = part.staff
        self.free[: problem.now] = 0
        self.cleared: dict[str, int] = {}
        self.lines = [
            _Line(printer, plan, clear.clear_start if clear else None)
            for printer in sorted(problem.printers, key=lambda printer: printer.id)
            for clear in [next((each for each in plan.clears if each.printer_id == printer.id), None)]
        ]

    def served(self) -> dict[str, int]:
        """Kit id -> the minute its last plate is cleared; the calendar's end if never. Prints running now go well."""
        end = self.problem.calendar.end
        while True:
            waiting = [line for line in self.lines if line.asks is not None]
            if not waiting:
                break
            self._serve(min(waiting, key=lambda line: (line.asks, line.planned)))
        minutes: dict[str, int] = {}
        for plate in self.problem.plates:
            for kit_id in plate.kit_ids:
                minutes[kit_id] = max(minutes.get(kit_id, 0), self.cleared.get(plate.id, end))
        for line in self.lines:
            for kit_id in line.printer.running_kit_ids if line.printer.running else ():
                minutes[kit_id] = max(minutes.get(kit_id, 0), line.running_cleared or end)
        return minutes

    def _serve(self, line: _Line) -> None:
        rules = self.problem.rules
        if line.on_bed:
            at = self._staff_from(line.asks or 0, rules.clear_min)
            if at is None:
                line.asks = None
                return
            self.free[at : at + rules.clear_min] -= 1
            line.take_off(at + rules.clear_min, self.cleared)
            return
        plate = self.plates[line.queue[0].plate_id]
        swap = (line.material, line.colour) != (plate.material, plate.colour) or line.spool_g < plate.grams - 1e-9
        handling = rules.start_min + rules.swap_min * swap
        minutes = plate.duration_min[line.printer.id]
        at = self._set_up_from(line, handling, minutes)
        if at is None:
            line.asks = None
            return
        self.free[at : at + handling] -= 1
        if swap:
            line.spool_g = rules.new_spool_g
        line.material, line.colour = plate.material, plate.colour
        line.spool_g -= plate.grams
        line.print(at + handling, self._course(minutes), plate)

    def _course(self, minutes: int) -> tuple[int, bool]:
        """How long it prints, and whether it is good."""
        real = minutes * math.exp(self.random.normal(0, self.truth.duration_spread))
        if self.random.random() < self.truth.fail_per_start:
            return max(1, round(real * self.random.random())), False
        if self.truth.fail_per_hour > 0:
            until = 60 * self.random.exponential(1 / self.truth.fail_per_hour)
            if until < real:
                return max(1, round(until)), False
        return max(1, round(real)), True

    def _staff_from(self, minute: int, length: int) -> int | None:
        """The first minute with somebody free for so long."""
        run = 0
        for at in range(minute, self.problem.calendar.end):
            run = run + 1 if self.free[at] > 0 else 0
            if run == length:
                return at - length + 1
        return None

    def _set_up_from(self, line: _Line, handling: int, minutes: int) -> int | None:
        calendar, printer = self.problem.calendar, line.printer
        at = self._staff_from(line.asks or 0, handling)
        while at is not None:
            day = calendar.day_of(at)
            assert day is not None
            end = at + handling + minutes
            hit = [each for each in printer.outages if each.start < end and at < each.end]
            unattended = self.problem.rules.unattended_allowed and printer.may_run_unattended
            if end > day.end and not unattended:
                at = self._staff_from(day.end, handling)
            elif hit:
                at = self._staff_from(hit[0].end, handling)
            else:
                return at
        return None


class _Line:
    """One printer: what is on its bed, and the runs still planned on it."""

    def __init__(self, printer: PrinterState, plan: Plan, running_clear: int | None) -> None:
        self.printer = printer
        runs = [run for run in plan.runs if run.printer_id == printer.id]
        self.queue = sorted(runs, key=lambda run: run.setup_start)
        self.material, self.colour, self.spool_g = printer.material, printer.colour, printer.spool_g
        self.on_bed, self.good, self.tries = printer.running, True, 0
        self.running_cleared: int | None = None
        self.from_before = printer.running
        self.asks: int | None = running_clear
        self.planned = running_clear or 0
        if not self.on_bed:
            self._next(printer.ready_minute)

    def _next(self, minute: int) -> None:
        self.asks = None
        if self.queue:
            self.planned = self.queue[0].setup_start
            self.asks = max(minute, self.planned)

    def print(self, start: int, course: tuple[int, bool], plate: PlateJob) -> None:
        minutes, self.good = course
        self.on_bed = True
        self.planned = self.queue[0].clear_start
        ready = start + minutes + (plate.cool_min if self.good else 0)
        first_and_good = self.tries == 0 and self.good
        self.asks = max(ready, self.planned) if first_and_good else ready

    def take_off(self, minute: int, cleared: dict[str, int]) -> None:
        self.on_bed = False
        if self.from_before:
            self.from_before, self.running_cleared = False, minute
        elif self.good:
            cleared[self.queue.pop(0).plate_id] = minute
            self.tries = 0
        else:
            self.tries += 1
        self._next(minute)
