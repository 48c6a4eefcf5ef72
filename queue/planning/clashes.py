"""Pins that cannot all hold, and which of them stand in each other's way: the smallest sets, in words.

Every pin is an assumption of the exact model. When CP-SAT proves that they cannot hold together, it names a set that
suffices for the proof; pins are taken out of the set one by one until each that is left is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from time import monotonic

from planning.exact import FROZEN, PRINTER, SETUP, PinPart, build, is_frozen
from planning.material import all_bars, why_not
from planning.room import compile_problem
from planning.types import Pin, PlateJob, Problem
from telling import Told, chained, told

WORK = 2.0  # CP-SAT's deterministic seconds for each question
MOST_CLASHES = 5


@dataclass(frozen=True, slots=True)
class Clash:
    """Pins that cannot all hold; without any one of them the others could."""

    pins: tuple[PinPart, ...]
    sentence: Told


def clashing_pins(problem: Problem, names: Mapping[str, str] | None = None, seconds: float = 2.0) -> tuple[Clash, ...]:
    """The clashes among what is pinned and frozen, as far as ``seconds`` let them be found; empty when all can hold.

    ``names``: what sentences call a plate ("plate 12"); else its id.
    """
    return _Clashes(problem, names or {}, seconds).find()


class _Clashes:
    def __init__(self, problem: Problem, names: Mapping[str, str], seconds: float) -> None:
        self.problem, self.names = problem, names
        self.until = monotonic() + seconds
        free = replace(problem, plates=tuple(replace(plate, pin=Pin()) for plate in problem.plates))
        barred = all_bars(free)
        self.plates = {plate.id: plate for plate in problem.plates if why_not(problem, barred[plate.id]) is None}
        self.parts = [part for plate_id in sorted(self.plates) for part in self._parts(self.plates[plate_id])]
        compiled = compile_problem(problem)
        self.clearable = [clear.printer_id for clear in compiled.clears]
        self.notes = {note.plate_id: note.reason for note in (*compiled.unplaced, *compiled.released)}

    def find(self) -> tuple[Clash, ...]:
        if not self.parts:
            return ()
        found: list[Clash] = []
        left = list(self.parts)
        while len(found) < MOST_CLASHES:
            core = self._core(left)
            if not core:  # all can hold, nobody knows in time, or the plates cannot be placed even without pins
                break
            core = self._smallest(core)
            found.append(Clash(tuple(core), self._sentence(core)))
            left = [part for part in left if part not in core]
        return tuple(found)

    def _parts(self, plate: PlateJob) -> list[PinPart]:
        pin = plate.pin
        parts = []
        if pin.printer_id is not None:
            parts.append(PinPart(plate.id, PRINTER))
        if pin.setup_start is not None:
            parts.append(PinPart(plate.id, SETUP))
        if is_frozen(self.problem, plate):
            parts.append(PinPart(plate.id, FROZEN))
        return parts + [PinPart(plate.id, before) for before in pin.after_plate_ids if before in self.plates]

    def _core(self, parts: Sequence[PinPart]) -> list[PinPart] | None:
        """Some of the parts that cannot hold together; None when they can, or nobody knows in time. Empty when the
        plates have no place even without any pin."""
        from ortools.sat.python import cp_model  # half a second, and only now and then

        left = self.until - monotonic()
        if left <= 0:
            return None
        named = {part.plate_id for part in parts} | {part.what for part in parts if part.what in self.plates}
        plates = [plate for plate_id, plate in sorted(self.plates.items()) if plate_id in named]
        built = build(self.problem, plates, dict.fromkeys(named, True), self.clearable, set(parts))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_deterministic_time = WORK
        solver.parameters.max_time_in_seconds = left
        built.model.add_assumptions(list(built.held.values()))
        if solver.status_name(solver.solve(built.model)) != "INFEASIBLE":
            return None
        indices = set(solver.sufficient_assumptions_for_infeasibility())
        return [part for part in self.parts if part in built.held and built.held[part].index in indices]

    def _smallest(self, core: list[PinPart]) -> list[PinPart]:
        """Only what is needed: each part is taken out in turn, for good if the rest still cannot hold."""
        for part in list(core):
            rest = [other for other in core if other is not part]
            if rest and self._core(rest):
                core = rest
        return core

    def _sentence(self, core: Sequence[PinPart]) -> Told:
        parts = [self._part(part) for part in core]
        if len(parts) == 1:
            note = self.notes.get(core[0].plate_id)
            if note:
                return told("This cannot hold: {pin}. {because}", pin=parts[0], because=note)
            return told("This cannot hold: {pin}.", pin=parts[0])
        pins = chained(parts[:-1], "{first}; {rest}")
        return told("These cannot all hold: {pins}; and {last}.", pins=pins, last=parts[-1])

    def _part(self, part: PinPart) -> Told:
        """The pin in words."""
        plate, moment = self.plates[part.plate_id], self.problem.calendar.to_datetime
        name = self._name(part.plate_id)
        if part.what == PRINTER:
            return told("{plate} on {printer}", plate=name, printer=self._printer(plate.pin.printer_id))
        if part.what == SETUP:
            return told("{plate} at {when:%a %d %b %H:%M}", plate=name, when=moment(plate.pin.setup_start or 0))
        if part.what == FROZEN:
            text = "{plate} on {printer} at {when:%a %d %b %H:%M}, as was published"
            when = moment(plate.published_setup_start or 0)
            return told(text, plate=name, printer=self._printer(plate.published_printer_id), when=when)
        return told("{plate} after {before}", plate=name, before=self._name(part.what))

    def _printer(self, printer_id: str | None) -> str:
        names = {printer.id: printer.name for printer in self.problem.printers}
        return names.get(printer_id or "") or told("a printer that is not there")

    def _name(self, plate_id: str) -> str:
        return self.names.get(plate_id) or told("plate {id}", id=plate_id)
