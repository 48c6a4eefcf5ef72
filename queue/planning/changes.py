"""What is different between two plans, plate by plate, and why, as data: whoever shows it words it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from planning.material import plate_mg
from planning.types import Plan, PlannedRun, PlateJob, PrinterState, Problem
from planning.verify import minutes_late


class Cause(StrEnum):
    """Why a plate is elsewhere than it was; the first that holds."""

    PINNED = "pinned"  # somebody fixed its printer, start or order
    PRINTER_GONE = "printer_gone"  # its printer cannot print it any more, or is not there
    OUTAGE = "outage"  # its printer is out of service then
    PRINTER_BUSY = "printer_busy"  # its printer is not clear by then
    PASSED = "passed"  # its start has passed and it was not started
    NOBODY_THERE = "nobody_there"  # nobody is there to set it up at that time any more
    LATE_END = "late_end"  # it would end too late in the day now
    SPOOL = "spool"  # the spool there is another or does not last
    NEW_PLATE = "new_plate"  # it was not in the plan before
    DONE = "done"  # it is not in the problem any more
    NO_PLACE = "no_place"  # the new plan has no place for it
    MADE_ROOM = "made_room"  # another plate has taken its place
    GAIN = "gain"  # nothing forced it: the plan is better so


Reason = tuple[Cause, str | None]  # and the plate it made room for


@dataclass(frozen=True, slots=True)
class Change:
    """One plate: where it was and is. None: not in that plan. ``by_plate_id``: the plate it made room for;
    ``root`` and ``root_plate_id``: the cause at the end of that chain. ``gain_kit_ids``: kits that are less late."""

    plate_id: str
    from_printer_id: str | None
    from_setup_start: int | None
    to_printer_id: str | None
    to_setup_start: int | None
    cause: Cause
    by_plate_id: str | None = None
    root: Cause | None = None
    root_plate_id: str | None = None
    gain_kit_ids: tuple[str, ...] = ()

    @property
    def moved_printer(self) -> bool:
        """Whether it is on another printer, having been on one before and being on one now."""
        return None not in (self.from_printer_id, self.to_printer_id) and self.from_printer_id != self.to_printer_id

    @property
    def later_min(self) -> int | None:
        """How much later it is set up (below zero: earlier); None when it was or is not in the plan."""
        if self.from_setup_start is None or self.to_setup_start is None:
            return None
        return self.to_setup_start - self.from_setup_start


def change_list(problem: Problem, before: Plan, after: Plan, tolerance_min: int | None = None) -> tuple[Change, ...]:
    """What ``after``, a plan of ``problem``, changes in ``before``, a plan of the same room as it stood earlier, in
    order of the new start, then of the old.

    A start that moves by no more than ``tolerance_min`` (None: the room's ``change_tolerance_min``) on the same printer
    is no change. Plates that were started or finished meanwhile (in ``before``, not in ``problem``) are listed with
    cause DONE.
    """
    return _Comparison(problem, before, after, tolerance_min).compare()


class _Comparison:
    """The two plans side by side."""

    def __init__(self, problem: Problem, before: Plan, after: Plan, tolerance_min: int | None) -> None:
        self.problem = problem
        self.tolerance = problem.rules.change_tolerance_min if tolerance_min is None else tolerance_min
        self.old = {run.plate_id: run for run in before.runs}
        self.new = {run.plate_id: run for run in after.runs}
        self.plates = {plate.id: plate for plate in problem.plates}
        self.printers = {printer.id: printer for printer in problem.printers}
        self.lost = {note.plate_id for note in after.unplaced}
        self.lost_before = {note.plate_id for note in before.unplaced}
        self.released = {note.plate_id for note in after.released}
        self.ready = {each.printer_id: each.clear_end for each in after.clears}
        self.less_late = _less_late(problem, before, after)

    def compare(self) -> tuple[Change, ...]:
        moved = [plate_id for plate_id in sorted({*self.old, *self.new, *self.lost}) if self._differs(plate_id)]
        causes = {plate_id: self._cause(plate_id) for plate_id in moved}
        changes = [self._change(plate_id, causes) for plate_id in moved]
        late = self.problem.calendar.end
        changes.sort(
            key=lambda each: (
                late if each.to_setup_start is None else each.to_setup_start,
                late if each.from_setup_start is None else each.from_setup_start,
                each.plate_id,
            )
        )
        return tuple(changes)

    def _differs(self, plate_id: str) -> bool:
        old, new = self.old.get(plate_id), self.new.get(plate_id)
        if old is None and new is None:
            return plate_id in self.plates and plate_id not in self.lost_before
        if old is None or new is None:
            return True
        return old.printer_id != new.printer_id or abs(new.setup_start - old.setup_start) > self.tolerance

    def _change(self, plate_id: str, causes: Mapping[str, Reason]) -> Change:
        old, new = self.old.get(plate_id), self.new.get(plate_id)
        cause, by = causes[plate_id]
        root, root_plate = _root(plate_id, causes)
        gain: tuple[str, ...] = ()
        if cause in (Cause.GAIN, Cause.MADE_ROOM):
            gain = tuple(kit_id for kit_id, minutes in self.less_late if minutes > 0)[:5]
        return Change(
            plate_id=plate_id,
            from_printer_id=old.printer_id if old else None,
            from_setup_start=old.setup_start if old else None,
            to_printer_id=new.printer_id if new else None,
            to_setup_start=new.setup_start if new else None,
            cause=cause,
            by_plate_id=by,
            root=root,
            root_plate_id=root_plate,
            gain_kit_ids=gain,
        )

    def _cause(self, plate_id: str) -> Reason:
        """The first cause that holds."""
        old, new, plate = self.old.get(plate_id), self.new.get(plate_id), self.plates.get(plate_id)
        if plate is None:
            return Cause.DONE, None
        if new is None:
            return Cause.NO_PLACE, None
        if old is None:
            return Cause.NEW_PLATE, None
        for cause in self._forced(plate, old):
            return cause, None
        taker = self._taker(old)
        return (Cause.GAIN, None) if taker is None else (Cause.MADE_ROOM, taker.plate_id)

    def _forced(self, plate: PlateJob, old: PlannedRun) -> Iterator[Cause]:
        """What makes the old place impossible now, whatever else is planned."""
        printer, calendar = self.printers.get(old.printer_id), self.problem.calendar
        if self._against_pin(plate, old):
            yield Cause.PINNED
        if printer is None or printer.id not in plate.duration_min:
            yield Cause.PRINTER_GONE
            return
        length = old.start - old.setup_start
        end = old.setup_start + length + plate.duration_min[printer.id]
        if any(outage.start < end and old.setup_start < outage.end for outage in printer.outages):
            yield Cause.OUTAGE
        if self.ready.get(printer.id, printer.ready_minute) > old.setup_start:
            yield Cause.PRINTER_BUSY
        if old.setup_start < self.problem.now:
            yield Cause.PASSED
        day = calendar.day_of(old.setup_start)
        if day is None or calendar.staff_at(old.setup_start) == 0:
            yield Cause.NOBODY_THERE
            return
        limit = day.end
        if self.problem.rules.unattended_allowed and printer.may_run_unattended:
            limit = calendar.end if day.unattended_until is None else max(day.end, day.unattended_until)
        if end > limit:
            yield Cause.LATE_END
        if plate.id in self.released:
            yield Cause.PRINTER_BUSY
        if not old.swap and self._first_on(old) and not _has_filament(printer, plate):
            yield Cause.SPOOL

    def _against_pin(self, plate: PlateJob, old: PlannedRun) -> bool:
        pin = plate.pin
        if pin.printer_id not in (None, old.printer_id) or pin.setup_start not in (None, old.setup_start):
            return True
        befores = (self.old.get(each) for each in pin.after_plate_ids)
        return any(before is not None and before.setup_start > old.setup_start for before in befores)

    def _first_on(self, old: PlannedRun) -> bool:
        return not any(
            run.printer_id == old.printer_id and run.setup_start < old.setup_start and run.plate_id in self.plates
            for run in self.old.values()
        )

    def _taker(self, old: PlannedRun) -> PlannedRun | None:
        """The plate that now is on that printer at that time, and was not there before."""
        there = [
            run
            for run in self.new.values()
            if run.plate_id != old.plate_id
            and run.printer_id == old.printer_id
            and run.setup_start < old.clear_end
            and old.setup_start < run.clear_end
            and self._differs(run.plate_id)
        ]
        return min(there, key=lambda run: (run.setup_start, run.plate_id), default=None)


def _root(plate_id: str, causes: Mapping[str, Reason]) -> tuple[Cause, str]:
    """The end of the chain of plates that made room for each other; of a ring, the plate it was entered by."""
    seen = [plate_id]
    while True:
        cause, by = causes[seen[-1]]
        if cause is not Cause.MADE_ROOM or by is None or by not in causes:
            return cause, seen[-1]
        if by in seen:
            return Cause.GAIN, seen[-1]
        seen.append(by)


def _has_filament(printer: PrinterState, plate: PlateJob) -> bool:
    same = (printer.material, printer.colour) == (plate.material, plate.colour)
    return same and printer.spool_g * 1000 >= plate_mg(plate.grams)


def _less_late(problem: Problem, before: Plan, after: Plan) -> list[tuple[str, int]]:
    """Kit id and minutes less late, most first, of kits all of whose plates stand in both plans."""
    placed = {run.plate_id for run in before.runs}
    clears = {each.printer_id for each in before.clears}
    unknown = {kit_id for plate in problem.plates if plate.id not in placed for kit_id in plate.kit_ids}
    for printer in problem.printers:
        if printer.running and printer.id not in clears:
            unknown.update(printer.running_kit_ids)
    old, new = minutes_late(problem, before), minutes_late(problem, after)
    gains = [(kit.id, old[kit.id] - new[kit.id]) for kit in problem.kits if kit.id not in unknown]
    return sorted(gains, key=lambda pair: (-pair[1], pair[0]))
