"""What a team's sheet shows: the value at hand, its trials, the prediction, where to go on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, queries
from lessons.lab.experiment import Experiment
from lessons.lab.results import Cell, DesignResult, Entry, TeamResult
from lessons.lab.told import CellView, Told, gap_told
from lessons.models import Assignment, LabBoard, Team
from lessons.science.compare import Gap
from lessons.science.values import Unknown
from makerlab.components.chart import Chart


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

    @property
    def cells(self) -> list[CellView]:
        return [CellView(self.experiment, cell) for cell in self.design.cells]

    @property
    def at_key(self) -> str:
        """The value at hand as it stands in an address."""
        return f"{self.at.value:g}"

    @property
    def cautions(self) -> list[dict[str, str]]:
        """The plan's cautions for the bench and ramp, and those that always hold."""
        rows = self.assignment.plan.content.get("cautions", [])
        return [row for row in rows if row.get("when") in ("lab day", "always")]

    @property
    def asked(self) -> list[CellView]:
        """Values whose readings raise a question."""
        return [view for view in self.cells if view.cell.question is not None]

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


def sheet_page(
    assignment: Assignment, experiment: Experiment, team: Team, design: str, value: str, correct: str
) -> SheetPage:
    """The sheet as the address asks for it; what it asks for and is not there falls back to where the team stands."""
    result = queries.results(assignment, experiment).team(team.pk)
    assert result is not None, "a team belongs to its class"
    chosen = next((each for each in result.designs if each.design == design), None)
    chosen = chosen or next((each for each in result.designs if not each.is_complete), result.designs[-1])
    cells = {f"{cell.value:g}": cell for cell in chosen.cells}
    at = cells.get(value) or chosen.next_cell or chosen.cells[-1]
    correcting = next((entry for entry in at.entries if str(entry.pk) == correct), None)
    board = queries.board_of(assignment)
    return SheetPage(assignment, experiment, team, result, board, chosen, at, correcting)
