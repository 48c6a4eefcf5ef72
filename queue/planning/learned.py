"""What the runs of a room teach about each of its printers and materials: the one place that makes it.

Two shrinkages, both from few runs toward more: minutes and grams toward other printers of the kind with the same
material (``planning.alike``), failures toward the room (``planning.failures``). With nothing on record it is the
default, and ``Lesson.is_default`` says so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from planning.alike import beliefs_from
from planning.calibration import Beliefs, Calibration, Corrected, Drift, FinishedRun, calibrate, find_drift
from planning.failures import FailureRate, Tally, failure_rate, scaled, total
from planning.types import Risk

# Assumed until runs say otherwise: 8 of 100 two-hour prints fail. No source for a school's room; an open studio counted
# 41 of 100 (Procedia CIRP, 28th CIRP Design Conference, abstract). The spread is that of calibration.Default.
ASSUMED = Risk(fail_per_start=0.04, fail_per_hour=0.02, duration_spread=0.0)


@dataclass(frozen=True, slots=True)
class Machine:
    """A printer with one material; printers of one ``kind_id`` are alike."""

    printer_id: int
    kind_id: int
    material: str


@dataclass(frozen=True, slots=True)
class RunOnRecord:
    """One ended run: ``finished`` when it went to its end, so that it teaches minutes or grams; ``tally`` is what it
    counts for failures. ``run_id`` tells it apart on pages."""

    run_id: int
    tally: Tally
    finished: FinishedRun | None = None


class Lesson:
    """What is known of one printer with one material. Everything is worked out when it is asked for."""

    def __init__(
        self, runs: tuple[RunOnRecord, ...], beliefs: Beliefs, neighbours: tuple[list[Tally], ...], kin_runs: int
    ):
        self.runs, self.beliefs, self.kin_runs = runs, beliefs, kin_runs
        self.finished = tuple(run for run in runs if run.finished is not None)
        self._neighbours = neighbours

    @cached_property
    def calibration(self) -> Calibration:
        return calibrate(self._finished, self.beliefs)

    @cached_property
    def drift(self) -> Drift | None:
        return find_drift(self._finished, self.beliefs)

    @cached_property
    def failures(self) -> FailureRate:
        return failure_rate(total(run.tally for run in self.runs), self._neighbours, ASSUMED)

    @property
    def is_default(self) -> bool:
        """Neither this printer nor one of its kind has a run with a known end: the plain model speaks."""
        return not self.calibration.runs and not self.kin_runs

    @property
    def _finished(self) -> list[FinishedRun]:
        return [run.finished for run in self.finished if run.finished is not None]

    def duration(self, estimate_s: float) -> Corrected:
        """The model's seconds as this printer takes them; at least a minute."""
        found = self.calibration.duration(estimate_s)
        return Corrected(max(60.0, found.mean), found.interval, found.run)

    def grams(self, estimate_g: float) -> Corrected:
        return self.calibration.grams(estimate_g)

    def risk(self, estimate_s: float) -> Risk:
        """How unsure a run of that estimate is on this printer."""
        spread = self.calibration.duration_spread(estimate_s)
        return scaled(ASSUMED, self.failures.factor, self.failures.spoil, spread)


@dataclass(frozen=True)
class Learned:
    """Runs of a room by machine, oldest first in each."""

    runs: Mapping[Machine, tuple[RunOnRecord, ...]] = field(default_factory=dict)
    _lessons: dict[Machine, Lesson] = field(default_factory=dict, compare=False, repr=False)
    _alone: dict[Machine, Calibration] = field(default_factory=dict, compare=False, repr=False)

    def of(self, machine: Machine) -> Lesson:
        """What is known of that printer with that material."""
        if machine not in self._lessons:
            self._lessons[machine] = self._learn(machine)
        return self._lessons[machine]

    def materials(self, printer_id: int) -> list[str]:
        """Materials that printer has run, the one with most runs first."""
        found = {m.material: len(runs) for m, runs in self.runs.items() if m.printer_id == printer_id}
        return sorted(found, key=lambda material: (-found[material], material))

    def _learn(self, machine: Machine) -> Lesson:
        kin = [
            self._by_itself(other)
            for other in self.runs
            if (other.kind_id, other.material) == (machine.kind_id, machine.material)
            and other.printer_id != machine.printer_id
        ]
        printers: dict[int, Tally] = defaultdict(Tally)
        materials: list[Tally] = []
        for other, runs in self.runs.items():
            if other.printer_id != machine.printer_id:
                printers[other.printer_id] += total(run.tally for run in runs)
            elif other != machine:
                materials.append(total(run.tally for run in runs))
        neighbours = ([*printers.values()], materials)
        return Lesson(self.runs.get(machine, ()), beliefs_from(kin), neighbours, sum(each.runs for each in kin))

    def _by_itself(self, machine: Machine) -> Calibration:
        if machine not in self._alone:
            self._alone[machine] = calibrate([run.finished for run in self.runs[machine] if run.finished is not None])
        return self._alone[machine]


def learned_from(rows: Iterable[tuple[Machine, RunOnRecord]]) -> Learned:
    """Rows oldest first."""
    found: dict[Machine, list[RunOnRecord]] = defaultdict(list)
    for machine, run in rows:
        found[machine].append(run)
    return Learned({machine: tuple(runs) for machine, runs in found.items()})
