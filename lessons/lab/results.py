"""From readings to results: means, the prediction and how it fared, who is best by evidence. Values in, values out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean

from django.utils.translation import gettext as _

from lessons.lab.experiment import Best, Experiment, PredictBy
from lessons.lab.unknown import why_not
from lessons.science.compare import Comparison, Gap, Ranking, prediction_gap, rank, smallest_told_apart, welch
from lessons.science.lines import Point, fit_line, predict_between
from lessons.science.summary import (
    Group,
    KnownScatter,
    OutlierQuestion,
    RangeOnly,
    Summary,
    outlier_question,
    pooled_scatter,
    summarise,
)
from lessons.science.values import Measured, Unknown, exactly, from_resolution


@dataclass(frozen=True, slots=True)
class Entry:
    """One reading that counts: the newest of its correction chain. ``measured`` None: the run gave no value."""

    pk: int
    design: str
    changed: float
    trial: int
    measured: float | None
    changed_measured: float | None = None
    left_out: bool = False
    note: str = ""
    version: int | None = None

    @property
    def counts(self) -> bool:
        return self.measured is not None and not self.left_out


@dataclass(frozen=True)
class Cell:
    """A team's trials of one design at one value of the changed variable, by trial."""

    experiment: Experiment
    value: float
    entries: tuple[Entry, ...]
    class_scatter: KnownScatter | None = None

    @cached_property
    def readings(self) -> tuple[float, ...]:
        return tuple(entry.measured for entry in self.entries if entry.counts and entry.measured is not None)

    @cached_property
    def summary(self) -> Summary | RangeOnly | Unknown:
        return summarise(self.readings)

    @property
    def mean(self) -> float | None:
        """Of what there is; None when nothing was measured."""
        return fmean(self.readings) if self.readings else None

    @property
    def is_complete(self) -> bool:
        """Every trial has a reading, or a reason why it has none."""
        return len({entry.trial for entry in self.entries}) >= self.experiment.trials

    @property
    def next_trial(self) -> int:
        done = {entry.trial for entry in self.entries}
        return next(trial for trial in range(1, len(done) + 2) if trial not in done)

    @cached_property
    def question(self) -> OutlierQuestion | None:
        """Something to ask about these readings. A note beside the odd one answers it."""
        scatter = self.experiment.scatter or self.class_scatter
        if scatter is None or len(self.readings) < 2:
            return None
        unit, name = self.experiment.measured.unit, self.experiment.measured.name
        asked = outlier_question(self.readings, scatter, unit, name)
        if asked is None:
            return None
        counted = [entry for entry in self.entries if entry.counts]
        odd = counted if asked.index is None else [counted[asked.index]]
        return None if any(entry.note for entry in odd) else asked

    @cached_property
    def x(self) -> Measured:
        """The changed variable: as weighed where teams weigh, else as asked for."""
        weighed = [entry.changed_measured for entry in self.entries if entry.counts and entry.changed_measured]
        if not weighed:
            return exactly(self.value)
        return from_resolution(fmean(weighed), self.experiment.changed.resolution)

    @cached_property
    def group(self) -> Group | None:
        """For comparisons; None below three trials. Readings scatter by their steps at least (step / sqrt(12), NIST TN
        1297 section 4.6), so that three equal ones do not pass for an exact value."""
        if not isinstance(self.summary, Summary):
            return None
        steps = self.experiment.measured.resolution / math.sqrt(12)
        return Group(self.summary.n, self.summary.mean, max(self.summary.sd, steps))

    def y(self) -> Measured | Unknown:
        """The mean with its standard uncertainty; Unknown below three trials."""
        if isinstance(self.summary, Summary):
            return self.summary.measured(self.experiment.measured.resolution)
        if isinstance(self.summary, RangeOnly):
            return Unknown(_("fewer than three trials: only their range can be given"))
        return Unknown(_("nothing measured yet"))


@dataclass(frozen=True)
class DesignResult:
    """All that a team has of one design. ``cells`` follow the experiment's values; ``version`` is that of the team's
    own part the readings were made with, where it is known."""

    experiment: Experiment
    design: str
    cells: tuple[Cell, ...]
    version: int | None = None

    @property
    def label(self) -> str:
        """The design with its version, where one is known."""
        return self.design if self.version is None else versioned(self.experiment.designs[-1], self.version)

    def cell(self, value: float) -> Cell:
        return next(cell for cell in self.cells if cell.value == value)

    @cached_property
    def prediction(self) -> Measured | Unknown:
        """What the values tried first say of the one to be predicted, before it is measured."""
        wanted = self.experiment.predicted
        if wanted is None:
            return Unknown(_("this experiment predicts nothing"))
        tried = [self.cell(value) for value in self.experiment.tried]
        x = self.cell(wanted).x
        if self.experiment.predict_by is PredictBy.FITTED_LINE:
            pairs = [(cell.x.value, reading) for cell in tried for reading in cell.readings]
            line = fit_line([a for a, _b in pairs], [b for _a, b in pairs])
            return line if isinstance(line, Unknown) else line.at(x.value)
        points = []
        for cell in _either_side(tried, wanted):
            y = cell.y()
            if isinstance(y, Unknown):
                return Unknown(
                    _("%(value)s %(unit)s: %(why)s")
                    % {"value": f"{cell.value:g}", "unit": self.experiment.changed.unit, "why": why_not(y)}
                )
            points.append(Point(cell.x, y))
        found = predict_between(points[0], points[1], x)
        return found if isinstance(found, Unknown) else found.y

    @cached_property
    def gap(self) -> Gap | Unknown:
        """How the measured mean compares with the prediction."""
        if self.experiment.predicted is None or isinstance(self.prediction, Unknown):
            return self.prediction if isinstance(self.prediction, Unknown) else Unknown(_("nothing was predicted"))
        measured = self.cell(self.experiment.predicted).y()
        return measured if isinstance(measured, Unknown) else prediction_gap(self.prediction, measured)

    @property
    def is_complete(self) -> bool:
        return all(cell.is_complete for cell in self.cells)

    @property
    def next_cell(self) -> Cell | None:
        """Where the team goes on: the first value with trials missing; None when all are done."""
        return next((cell for cell in self.cells if not cell.is_complete), None)

    @property
    def runs_done(self) -> int:
        return sum(min(len({entry.trial for entry in cell.entries}), self.experiment.trials) for cell in self.cells)


def _either_side(tried: Sequence[Cell], wanted: float) -> tuple[Cell, Cell]:
    """The tried values next below and next above the wanted one; the two nearest when it lies outside them."""
    ordered = sorted(tried, key=lambda cell: cell.value)
    below = [cell for cell in ordered if cell.value < wanted]
    above = [cell for cell in ordered if cell.value > wanted]
    if below and above:
        return below[-1], above[0]
    return (ordered[0], ordered[1]) if not below else (ordered[-2], ordered[-1])


@dataclass(frozen=True)
class TeamResult:
    """A team's results by design, in the order of the experiment. ``key`` is the team's id; the last design stands for
    the newest version measured, ``earlier`` for those before it, oldest first."""

    key: int
    name: str
    designs: tuple[DesignResult, ...]
    earlier: tuple[DesignResult, ...] = ()

    @property
    def all_designs(self) -> tuple[DesignResult, ...]:
        """With earlier versions of the own part, before the newest."""
        return (*self.designs[:-1], *self.earlier, *self.designs[-1:])

    def design(self, name: str) -> DesignResult:
        return next(design for design in self.all_designs if design.design == name)

    @property
    def is_complete(self) -> bool:
        return all(design.is_complete for design in self.designs)

    @property
    def runs_done(self) -> int:
        return sum(design.runs_done for design in self.designs)

    def compare(self, first: str, second: str, value: float) -> Comparison | Unknown:
        """Two designs of the team at one value, by Welch's test."""
        groups = [self.design(name).cell(value).group for name in (first, second)]
        if groups[0] is None or groups[1] is None:
            return Unknown(_("both designs need three trials at this value"))
        return welch(groups[0], groups[1])


@dataclass(frozen=True)
class ClassResult:
    """Every team's results, and what the class as a whole can say."""

    experiment: Experiment
    teams: tuple[TeamResult, ...]
    scatter: KnownScatter | Unknown

    def team(self, key: int) -> TeamResult | None:
        return next((team for team in self.teams if team.key == key), None)

    def ranking(self, design: str, value: float) -> Ranking | Unknown:
        """Whose design is best at one value, in the order of the means; named by the team's key, since two teams may
        bear one name. Teams with fewer than three trials are left aside."""
        groups = {str(team.key): team.design(design).cell(value).group for team in self.teams}
        known = {name: group for name, group in groups.items() if group is not None}
        return rank(known, best_is_low=self.experiment.best is Best.LOW)

    def smallest_difference(self) -> float | Unknown:
        """The smallest difference of two means this class can tell from scatter, with the trials it takes."""
        if isinstance(self.scatter, Unknown):
            return self.scatter
        if self.experiment.trials < 2:
            return Unknown(_("one trial each: no scatter can be told"))
        return smallest_told_apart(self.experiment.trials, self.experiment.trials, self.scatter)

    @property
    def runs_done(self) -> int:
        return sum(team.runs_done for team in self.teams)

    @property
    def runs_wanted(self) -> int:
        return len(self.teams) * self.experiment.runs_of_a_team() * len(self.experiment.designs)


def class_result(
    experiment: Experiment, teams: Iterable[tuple[int, str]], entries: Mapping[int, Sequence[Entry]]
) -> ClassResult:
    """Sum up a class: ``teams`` as (id, name) in order, ``entries`` by team id, each the newest of its chain.

    Readings at values or designs the experiment no longer has are left aside (they stay on record).
    """
    listed = list(teams)
    own = experiment.designs[-1]
    newest = {key: max((e.version or 0 for e in rows if e.design == own), default=0) for key, rows in entries.items()}
    by_cell: dict[tuple[int, str, float], list[Entry]] = {}
    older: dict[int, set[int]] = {}
    for key, rows in entries.items():
        for entry in rows:
            name = entry.design
            if name == own and (entry.version or 0) < newest[key]:
                name = versioned(own, entry.version or 0)
                older.setdefault(key, set()).add(entry.version or 0)
            by_cell.setdefault((key, name, entry.changed), []).append(entry)
    scatter = pooled_scatter(
        [[e.measured for e in rows if e.counts and e.measured is not None] for rows in by_cell.values()],
        _("the class's own repeated trials"),
    )
    class_scatter = scatter if isinstance(scatter, KnownScatter) and scatter.df >= 10 else None

    def design_result(key: int, design: str, version: int | None = None) -> DesignResult:
        cells = tuple(
            Cell(
                experiment,
                value,
                tuple(sorted(by_cell.get((key, design, value), []), key=lambda entry: (entry.trial, entry.pk))),
                class_scatter,
            )
            for value in experiment.values
        )
        return DesignResult(experiment, design, cells, version)

    def team_result(key: int, name: str) -> TeamResult:
        versions = {own: newest.get(key) or None}
        designs = tuple(design_result(key, design, versions.get(design)) for design in experiment.designs)
        earlier = tuple(design_result(key, versioned(own, each), each) for each in sorted(older.get(key, ())))
        return TeamResult(key, name, designs, earlier)

    return ClassResult(experiment, tuple(team_result(key, name) for key, name in listed), scatter)


def versioned(design: str, version: int) -> str:
    """The name of one version of a team's own design; 0: measured before the team had an approved one."""
    if version == 0:
        return _("%(design)s, version not noted") % {"design": design}
    return _("%(design)s, version %(version)d") % {"design": design, "version": version}


def nothing_of(experiment: Experiment, design: str, version: int | None) -> DesignResult:
    """A design nobody has run yet."""
    return DesignResult(experiment, design, tuple(Cell(experiment, value, ()) for value in experiment.values), version)
