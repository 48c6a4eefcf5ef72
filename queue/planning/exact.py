"""The room's rules as a constraint model for CP-SAT (OR-Tools): a few plates, every rule as the verifier states it.

Each printer's plates form a path in one circuit through all printers, along which the filament and the grams left on
the spool are carried: a set-up takes the time of a swap exactly when the spool asks for one. Staff are a cumulative
resource with the calendar's gaps cut out of the start times. Pinned and frozen starts are fixed at their minute, but
the clearing of every run is free: the model allows all plans the verifier allows for the same plates.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from planning.material import all_bars, plate_mg, spool_mg
from planning.types import Kit, PlateJob, PrinterState, Problem
from planning.windows import Span, action_starts, setup_starts

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

Bool = Any  # cp_model.IntVar or a constant; the library's expression types are not worth naming here
PRINTER, SETUP, FROZEN = "printer:", "setup:", "frozen:"


@dataclass(frozen=True, slots=True)
class PinPart:
    """One thing that is fixed about a plate: ``what`` is PRINTER, SETUP, FROZEN (its published start is too near to
    move) or the id of a plate it comes after."""

    plate_id: str
    what: str


def is_frozen(problem: Problem, plate: PlateJob) -> bool:
    """Whether the plate's published start is too near to move (a start or another printer fixed by hand overrules)."""
    start, pin = plate.published_setup_start, plate.pin
    if start is None or plate.published_printer_id is None or pin.setup_start is not None:
        return False
    return start < problem.now + problem.rules.frozen_min and pin.printer_id in (None, plate.published_printer_id)


@dataclass(slots=True)
class PlateVars:
    """The unknowns of one plate; ``on`` by printer id; ``left`` what is on the spool after it, in milligrams.
    ``optional``: it may stay without a place; else ``placed`` is the constant one."""

    optional: bool
    placed: Bool
    swap: Bool
    setup: Bool
    start: Bool
    end: Bool
    clear: Bool
    left: Bool
    on: dict[str, Bool] = field(default_factory=dict)


@dataclass(slots=True)
class Model:
    """The model, its unknowns, and the four parts of the objective in order."""

    model: cp_model.CpModel
    plates: dict[str, PlateVars]
    clears: dict[str, Bool]
    follows: dict[tuple[str, str], Bool]
    held: dict[PinPart, Bool]
    parts: list[Any]


def build(
    problem: Problem,
    plates: Sequence[PlateJob],
    must: Mapping[str, bool],
    clearable: Collection[str],
    pins: Collection[PinPart] | None = None,
    released: Collection[str] = (),
) -> Model:
    """``plates``: those to be planned; ``must``: whether a plate has to have a place. ``clearable``: running printers
    whose clearing has a place. ``pins``: None, all hold; else only these, each on a literal of its own (``held``).
    ``released``: plates whose published start is near but cannot hold."""
    return _Builder(problem, plates, must, clearable, pins, released).build()


class _Builder:
    def __init__(
        self,
        problem: Problem,
        plates: Sequence[PlateJob],
        must: Mapping[str, bool],
        clearable: Collection[str],
        pins: Collection[PinPart] | None,
        released: Collection[str],
    ) -> None:
        from ortools.sat.python import cp_model  # half a second, and only now and then

        self.cp = cp_model
        self.model = cp_model.CpModel()
        self.problem, self.jobs, self.must, self.pins = problem, plates, must, pins
        self.released = released
        self.end = problem.calendar.end
        self.clearable = set(clearable)
        # Pins are constraints of their own here, so that some can be let go.
        unpinned = tuple(replace(plate, pin=replace(plate.pin, printer_id=None)) for plate in problem.plates)
        self.barred = all_bars(replace(problem, plates=unpinned))
        self.true = self.model.new_constant(1)
        self.false = self.model.new_constant(0)
        self.printers = [
            printer
            for printer in sorted(problem.printers, key=lambda printer: printer.id)
            if not printer.running or printer.id in self.clearable
        ]
        self.vars: dict[str, PlateVars] = {}
        self.clears: dict[str, Bool] = {}
        self.follows: dict[tuple[str, str], Bool] = {}
        self.held: dict[PinPart, Bool] = {}
        self.actions: list[Any] = []

    def build(self) -> Model:
        for printer in self.printers:
            if printer.running:
                self._running(printer)
        for job in self.jobs:
            self._plate(job)
        self._printers_apart()
        self._paths()
        self._staff()
        for job in self.jobs:
            self._pins(job)
        parts = self._objective()
        return Model(self.model, self.vars, self.clears, self.follows, self.held, parts)

    # --- one plate ----------------------------------------------------------------------------------------------------

    def _domain(self, spans: Sequence[Span]) -> Any:
        return self.cp.Domain.from_intervals([list(span) for span in spans])

    def _running(self, printer: PrinterState) -> None:
        """The clearing of what is printing now."""
        clear_min = self.problem.rules.clear_min
        spans = action_starts(self.problem, clear_min, max(self.problem.now, printer.ready_minute))
        clear = self.model.new_int_var_from_domain(self._domain(spans), f"clear {printer.id}")
        self.clears[printer.id] = clear
        self.actions.append(self.model.new_fixed_size_interval_var(clear, clear_min, ""))

    def _plate(self, job: PlateJob) -> None:
        model, rules, name = self.model, self.problem.rules, job.id
        placed = self.true if self.must[name] else model.new_bool_var(f"placed {name}")
        swap = model.new_bool_var(f"swap {name}")
        moments = (model.new_int_var(0, self.end, f"{what} {name}") for what in ("setup", "start", "end", "clear"))
        setup, start, end, clear = moments
        most = max([spool_mg(rules.new_spool_g), *(spool_mg(each.spool_g) for each in self.printers)])
        its = PlateVars(
            not self.must[name], placed, swap, setup, start, end, clear, model.new_int_var(0, most, f"left {name}")
        )
        self.vars[name] = its
        model.add(start == setup + rules.start_min + rules.swap_min * swap)
        model.add(clear >= end + job.cool_min)
        spans = action_starts(self.problem, rules.clear_min)
        model.add_linear_expression_in_domain(clear, self._domain(spans)).only_enforce_if(placed)
        for printer in self.printers:
            self._on(job, printer, its)
        model.add(sum(its.on.values()) == placed)
        handling = rules.start_min + rules.swap_min * swap
        self.actions.append(model.new_optional_interval_var(setup, handling, start, placed, ""))
        self.actions.append(model.new_optional_fixed_size_interval_var(clear, rules.clear_min, placed, ""))

    def _on(self, job: PlateJob, printer: PrinterState, its: PlateVars) -> None:
        """The plate on that printer: when it can be set up there, with a swap and without."""
        minutes = job.duration_min.get(printer.id)
        if minutes is None or printer.id in self.barred[job.id]:
            return
        rules, model = self.problem.rules, self.model
        here = model.new_bool_var(f"{job.id} on {printer.id}")
        earliest = max(self.problem.now, printer.ready_minute)
        windows = [
            setup_starts(self.problem, printer, rules.start_min + extra, minutes, job.cool_min, earliest)
            for extra in (0, rules.swap_min)
        ]
        for swapping, spans in enumerate(windows):
            literal = its.swap if swapping else ~its.swap
            if spans:
                model.add_linear_expression_in_domain(its.setup, self._domain(spans)).only_enforce_if([here, literal])
            else:
                model.add_bool_or([~here, ~literal])
        if any(windows):
            model.add(its.end == its.start + minutes).only_enforce_if(here)
            its.on[printer.id] = here
        else:
            model.add(here == 0)

    # --- printers -----------------------------------------------------------------------------------------------------

    def _printers_apart(self) -> None:
        """One plate at a time, from its set-up to the end of its clearing: follows from the paths, and helps."""
        clear_min = self.problem.rules.clear_min
        for printer in self.printers:
            spans = []
            for its in self.vars.values():
                if printer.id in its.on:
                    size = self.model.new_int_var(0, self.end, "")
                    here = its.on[printer.id]
                    spans.append(self.model.new_optional_interval_var(its.setup, size, its.clear + clear_min, here, ""))
            self.model.add_no_overlap(spans)

    def _paths(self) -> None:
        """One circuit: printer, its plates in turn, next printer, ... ; plates without a place stand alone."""
        model, rules = self.model, self.problem.rules
        nodes = {job.id: len(self.printers) + at for at, job in enumerate(self.jobs)}
        arcs: list[tuple[int, int, Any]] = []
        count = len(self.printers)
        if not count:
            for its in self.vars.values():
                model.add(its.placed == 0)
            return
        for number, printer in enumerate(self.printers):
            arcs.append((number, (number + 1) % count, model.new_bool_var(f"{printer.id} empty")))
            for job in self.jobs:
                here = self.vars[job.id].on.get(printer.id)
                if here is None:
                    continue
                first, last = model.new_bool_var(""), model.new_bool_var("")
                arcs += [(number, nodes[job.id], first), (nodes[job.id], (number + 1) % count, last)]
                model.add_implication(first, here)
                model.add_implication(last, here)
                self.follows[f"printer {printer.id}", job.id] = first
                if printer.running:
                    ready = self.clears[printer.id] + rules.clear_min
                    model.add(self.vars[job.id].setup >= ready).only_enforce_if(first)
                loaded = (printer.material, printer.colour) == (job.material, job.colour)
                self._spool(job, first, loaded, spool_mg(printer.spool_g))
        for job in self.jobs:
            its = self.vars[job.id]
            arcs.append((nodes[job.id], nodes[job.id], ~its.placed))
            for other in self.jobs:
                if other.id != job.id and its.on.keys() & self.vars[other.id].on.keys():
                    arcs.append((nodes[job.id], nodes[other.id], self._after(job, other)))
        model.add_circuit(arcs)

    def _after(self, job: PlateJob, other: PlateJob) -> Any:
        """``other`` is next on the same printer after ``job``."""
        model, one, two = self.model, self.vars[job.id], self.vars[other.id]
        follows = model.new_bool_var(f"{job.id} then {other.id}")
        self.follows[job.id, other.id] = follows
        for printer_id in sorted(one.on.keys() | two.on.keys()):
            here, there = one.on.get(printer_id), two.on.get(printer_id)
            if here is not None and there is not None:
                model.add(here == there).only_enforce_if(follows)
            elif (lonely := here if there is None else there) is not None:
                model.add_bool_or([~follows, ~lonely])
        model.add(two.setup >= one.clear + self.problem.rules.clear_min).only_enforce_if(follows)
        self._spool(other, follows, (job.material, job.colour) == (other.material, other.colour), one.left)
        return follows

    def _spool(self, job: PlateJob, literal: Any, same: bool, before: Any) -> None:
        """On ``literal`` the plate finds its own filament or not, and ``before`` milligrams of it."""
        model, its, need = self.model, self.vars[job.id], plate_mg(job.grams)
        new = spool_mg(self.problem.rules.new_spool_g)
        if need > new:
            model.add_implication(literal, ~its.swap)
        else:
            model.add(its.left == new - need).only_enforce_if([literal, its.swap])
        if not same:
            model.add_implication(literal, its.swap)
            return
        model.add(before >= need).only_enforce_if([literal, ~its.swap])
        model.add(its.left == before - need).only_enforce_if([literal, ~its.swap])
        model.add(before < need).only_enforce_if([literal, its.swap])

    # --- staff and pins -----------------------------------------------------------------------------------------------

    def _staff(self) -> None:
        """Never more actions at once than people; where fewer are there than at most, the others are taken away."""
        most = max((part.staff for part in self.problem.calendar.staffed if part.end > self.problem.now), default=0)
        if not most:
            return
        intervals, demands = list(self.actions), [1] * len(self.actions)
        for part in self.problem.calendar.staffed:
            if 0 < part.staff < most and part.end > self.problem.now:
                intervals.append(self.model.new_fixed_size_interval_var(part.start, part.end - part.start, ""))
                demands.append(most - part.staff)
        if most == 1:
            self.model.add_no_overlap(intervals)
        else:
            self.model.add_cumulative(intervals, demands, most)

    def _pins(self, job: PlateJob) -> None:
        its, pin = self.vars[job.id], job.pin
        if pin.printer_id is not None:
            self._on_printer(its, pin.printer_id, [its.placed, self._held(job, PRINTER)])
        if pin.setup_start is not None:
            self.model.add(its.setup == pin.setup_start).only_enforce_if([its.placed, self._held(job, SETUP)])
        elif is_frozen(self.problem, job) and job.id not in self.released:
            conditions = [its.placed, self._held(job, FROZEN)]
            self.model.add(its.setup == job.published_setup_start).only_enforce_if(conditions)
            self._on_printer(its, job.published_printer_id or "", conditions)
        for before in pin.after_plate_ids:
            if before in self.vars:
                first = self.vars[before]
                conditions = [its.placed, self._held(job, before)]
                self.model.add(its.setup >= first.setup).only_enforce_if(conditions)
                self.model.add_bool_and([first.placed]).only_enforce_if(conditions)

    def _held(self, job: PlateJob, what: str) -> Bool:
        if self.pins is None:
            return self.true
        part = PinPart(job.id, what)
        if part not in self.pins:
            return self.false
        return self.held.setdefault(part, self.model.new_bool_var(f"{job.id} {what}"))

    def _on_printer(self, its: PlateVars, printer_id: str, conditions: Sequence[Bool]) -> None:
        self.model.add_bool_and([its.on.get(printer_id, self.false)]).only_enforce_if(conditions)

    # --- objective ----------------------------------------------------------------------------------------------------

    def _objective(self) -> list[Any]:
        """Weighted tardiness with the penalty for changes, late weight, swaps, completion."""
        tardiness: list[Any] = [self.problem.rules.change_penalty * change for change in self._changes()]
        late: list[Any] = []
        for kit in self.problem.kits:
            if kit.deadline_minute is not None:
                minutes, is_late = self._late(kit, kit.deadline_minute)
                tardiness.append(kit.weight * minutes)
                late.append(kit.weight * is_late)
        completion: list[Any] = []
        swaps: list[Any] = []
        for its in self.vars.values():
            done = self.model.new_int_var(0, self.end, "")
            swapped = self.model.new_bool_var("")
            self._done(its, done)
            self.model.add_bool_or([swapped, ~its.swap, ~its.placed])
            completion.append(done - self.problem.now)
            swaps.append(swapped)
        return [sum(part, start=0) for part in (tardiness, late, swaps, completion)]

    def _done(self, its: PlateVars, done: Any) -> None:
        """When it is cleared; the end of the calendar without a place."""
        self.model.add(done == its.clear + self.problem.rules.clear_min).only_enforce_if(its.placed)
        self.model.add(done == self.end).only_enforce_if(~its.placed)

    def _late(self, kit: Kit, deadline: int) -> tuple[Any, Any]:
        """Minutes late, and whether."""
        model, rules = self.model, self.problem.rules
        planned = {job.id for job in self.jobs}
        known = [job for job in self.problem.plates if kit.id in job.kit_ids and job.id not in planned]
        running = [each for each in self.problem.printers if each.running and kit.id in each.running_kit_ids]
        never = known or any(each.id not in self.clearable for each in running)
        minutes = model.new_int_var(max(0, self.end - deadline) if never else 0, max(0, self.end - deadline), "")
        is_late = model.new_bool_var("")
        for job in self.jobs:
            if kit.id not in job.kit_ids:
                continue
            its = self.vars[job.id]
            model.add(minutes >= its.clear + rules.clear_min - deadline).only_enforce_if(its.placed)
            model.add(minutes >= self.end - deadline).only_enforce_if(~its.placed)
        for each in running:
            if each.id in self.clears:
                model.add(minutes >= self.clears[each.id] + rules.clear_min - deadline)
        model.add(minutes == 0).only_enforce_if(~is_late)
        return minutes, is_late

    def _changes(self) -> list[Any]:
        """For each published start that counts, whether it was moved."""
        rules, found = self.problem.rules, []
        for job in self.jobs:
            shown = job.published_setup_start
            if shown is None or not rules.change_penalty or shown >= self.problem.now + rules.published_min:
                continue
            its, changed = self.vars[job.id], self.model.new_bool_var("")
            conditions = [~changed, its.placed]
            self._on_printer(its, job.published_printer_id or "", conditions)
            self.model.add(its.setup <= shown + rules.change_tolerance_min).only_enforce_if(conditions)
            self.model.add(its.setup >= shown - rules.change_tolerance_min).only_enforce_if(conditions)
            found.append(changed)
        return found
