"""What a team's sheet shows: the value at hand, its trials, the prediction, where to go on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, queries
from lessons.lab.cautions import CautionGroup, lab_cautions
from lessons.lab.experiment import Experiment
from lessons.lab.models import has_model
from lessons.lab.parts import parts_of
from lessons.lab.results import Cell, DesignResult, Entry, TeamResult, nothing_of, versioned
from lessons.lab.told import CellView, Told, gap_told
from lessons.models import Assignment, LabBoard, Team
from lessons.science.compare import Gap
from lessons.science.values import Unknown
from makerlab.components.chart import Chart

# a load made of coins or nuts is that near to its label (common practice, no source)
WEIGHT_SHARE = 0.25


@dataclass(frozen=True)
class TrialView:
    """One trial of the value at hand: done, the one to do, or still open."""

    number: int
    text: str
    entry: Entry | None
    is_now: bool


@dataclass
class SheetPage:
    """A team's sheet for one design. ``at`` is the value at hand; ``correcting`` the reading to be corrected."""

    assignment: Assignment
    experiment: Experiment
    team: Team
    result: TeamResult
    board: LabBoard
    design: DesignResult
    at: Cell
    correcting: Entry | None = None
    versions: Sequence[int] = ()  # of the team's own part, as approved

    @property
    def choices(self) -> list[DesignResult]:
        """The designs a team can run: the experiment's, earlier versions of its own part, and those not run yet."""
        return choices_of(self.result, self.versions)

    @property
    def base(self) -> str:
        """The experiment's name of the design at hand, whatever its version."""
        known = self.experiment.designs
        return self.design.design if self.design.design in known else known[-1]

    @property
    def version(self) -> int | None:
        """What a new reading is noted under: the version at hand, or the newest approved where nothing was run yet."""
        if self.design.version is not None or self.base != self.experiment.designs[-1] or self.design.runs_done:
            return self.design.version
        return max(self.versions, default=None)

    @property
    def cells(self) -> list[CellView]:
        return [CellView(self.experiment, cell) for cell in self.design.cells]

    @property
    def at_key(self) -> str:
        """The value at hand as it stands in an address."""
        return f"{self.at.value:g}"

    @property
    def has_model(self) -> bool:
        return has_model(self.experiment)

    @property
    def cautions(self) -> list[CautionGroup]:
        return lab_cautions(self.assignment)

    @property
    def asked(self) -> list[CellView]:
        """Values whose readings raise a question."""
        return [view for view in self.cells if view.cell.question is not None]

    @property
    def odd_weight(self) -> Told | None:
        """A load weighed far from its label: a slip of the comma, or another load? Nothing is changed by itself."""
        if not self.experiment.weigh:
            return None
        for cell in self.design.cells:
            weighed = [entry.changed_measured for entry in cell.entries if entry.counts and entry.changed_measured]
            for each in weighed:
                if abs(each - cell.value) > WEIGHT_SHARE * max(abs(cell.value), 1.0):
                    facts = {
                        "weighed": charts.changed_with_unit(self.experiment, each),
                        "label": charts.changed_with_unit(self.experiment, cell.value),
                    }
                    text = _("You wrote %(weighed)s where the label says %(label)s. If it is a slip, correct that run.")
                    return Told("care", "s-advice", _("Is this the right load?"), text % facts)
        return None

    @property
    def here(self) -> CellView:
        return CellView(self.experiment, self.at)

    @property
    def is_test(self) -> bool:
        """Whether the value at hand is the predicted one."""
        return self.at.value == self.experiment.predicted

    @property
    def heading(self) -> str:
        name = self.experiment.changed.name
        words = _("%(name)s %(value)s, test your prediction") if self.is_test else _("%(name)s %(value)s")
        return words % {"name": name.capitalize(), "value": self.here.label}

    @property
    def trials(self) -> list[TrialView]:
        done = {entry.trial: entry for entry in self.at.entries}
        last = max([self.experiment.trials, *done])
        now = self.correcting.trial if self.correcting else self.at.next_trial
        rows = []
        for number in range(1, last + 1):
            entry = done.get(number)
            rows.append(TrialView(number, self._trial_text(entry), entry, number == now))
        return rows

    def _trial_text(self, entry: Entry | None) -> str:
        if entry is None:
            return "–"
        if entry.measured is None:
            return _("no value")
        text = charts.with_unit(self.experiment, entry.measured)
        return _("%(value)s, left out") % {"value": text} if entry.left_out else text

    @property
    def next_value(self) -> CellView | None:
        """Where to go on once this value has all its trials."""
        if not self.at.is_complete:
            return None
        cell = self.design.next_cell
        return CellView(self.experiment, cell) if cell is not None else None

    @property
    def next_design(self) -> str | None:
        if self.design.next_cell is not None:
            return None
        return next((design.design for design in self.result.designs if not design.is_complete), None)

    @property
    def prediction(self) -> Told | None:
        """What the line says before the test, or how the test came out."""
        predicted = self.experiment.predicted
        if predicted is None or isinstance(self.design.prediction, Unknown):
            return None
        value = charts.with_unit(self.experiment, self.design.prediction.value)
        if isinstance(self.design.gap, Gap):
            return gap_told(self.experiment, self.design)
        return Told(
            "live",
            "chart",
            _("You predict %(value)s") % {"value": value},
            _("Read from the straight line between your means, at %(at)s. Now measure it.")
            % {"at": charts.changed_with_unit(self.experiment, predicted)},
        )

    @cached_property
    def chart(self) -> Chart:
        return charts.team_chart(self.experiment, self.result, self.design)


def choices_of(result: TeamResult, versions: Sequence[int]) -> list[DesignResult]:
    """``versions`` that nobody has run stand beside what was run; with no run at all the last design is the newest."""
    last = result.designs[-1]
    run = {each.version for each in (*result.earlier, last)}
    if last.version is None and not last.runs_done:
        run.add(max(versions, default=None))
    experiment = last.experiment
    missing = [nothing_of(experiment, versioned(last.design, each), each) for each in versions if each not in run]
    return [*result.all_designs, *missing]


def sheet_page(
    assignment: Assignment, experiment: Experiment, team: Team, design: str, value: str, correct: str
) -> SheetPage:
    """The sheet as the address asks for it; what it asks for and is not there falls back to where the team stands."""
    result = queries.results(assignment, experiment).team(team.pk)
    assert result is not None, "a team belongs to its class"
    parts = parts_of(assignment, team, experiment) if has_model(experiment) else {}
    versions = sorted({each.version for each in parts.values() if each.version is not None})
    chosen = next((each for each in choices_of(result, versions) if design in (each.design, each.label)), None)
    chosen = chosen or next((each for each in result.designs if not each.is_complete), result.designs[-1])
    cells = {f"{cell.value:g}": cell for cell in chosen.cells}
    at = cells.get(value) or chosen.next_cell or chosen.cells[-1]
    correcting = next((entry for entry in at.entries if str(entry.pk) == correct), None)
    board = queries.board_of(assignment)
    return SheetPage(assignment, experiment, team, result, board, chosen, at, correcting, versions)
