"""What the class board shows: every team, the chosen one large, and what the data allow to say."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, physics, queries
from lessons.lab.experiment import Best, Experiment
from lessons.lab.results import ClassResult, TeamResult
from lessons.lab.told import CellView, Told, class_told, gap_told
from lessons.models import Assignment, Coasting, LabBoard, Team
from lessons.science.compare import Comparison, Gap, Ranking
from lessons.science.rolling import Losses, Run
from lessons.science.values import Measured, Unknown
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK


@dataclass(frozen=True)
class BoardRow:
    """A team in the table of everyone."""

    team: TeamResult
    wheel: str
    means: list[str]
    predicted: str
    measured: str
    difference: str


@dataclass
class BoardPage:
    """The class board: every team, the chosen one large, and what the data allow to say."""

    assignment: Assignment
    experiment: Experiment
    board: LabBoard
    result: ClassResult
    design: str
    team: TeamResult | None
    wheels: dict[int, dict[str, physics.LabWheel]]

    @property
    def designs(self) -> tuple[str, ...]:
        return self.experiment.designs

    @cached_property
    def losses(self) -> Losses | Unknown:
        """From the chosen team's own coast-downs, else fitted to the class's times."""
        if self.team is not None and self.experiment.cart is not None:
            coasted = Coasting.objects.filter(assignment=self.assignment, team=self.team.key)
            own = physics.coasting_losses(self.experiment, coasted, self.wheels.get(self.team.key, {}))
            if isinstance(own, Losses):
                return own
        return physics.class_losses(self.experiment, self.result, self.wheels)

    @cached_property
    def expected(self) -> dict[float, Run | Unknown]:
        """For the chosen team's design, with the loss the class's own times show."""
        known = self.wheels.get(self.team.key, {}).get(self.design) if self.team else None
        if known is None or isinstance(self.losses, Unknown):
            return {}
        return physics.expected_times(self.experiment, known.wheel, self.experiment.values, self.losses)

    @cached_property
    def chart(self) -> Chart:
        if self.team is None:
            return charts.class_chart(self.experiment, self.result, self.design)
        return charts.team_chart(self.experiment, self.team, self.team.design(self.design), self.expected)

    @property
    def has_wheels(self) -> bool:
        return any(self.design in known for known in self.wheels.values())

    @property
    def tried_labels(self) -> list[str]:
        return [charts.changed_with_unit(self.experiment, value) for value in self.experiment.tried]

    @property
    def predicted_label(self) -> str:
        """The predicted value with its unit; empty when nothing is predicted."""
        predicted = self.experiment.predicted
        return "" if predicted is None else charts.changed_with_unit(self.experiment, predicted)

    @property
    def rows(self) -> list[BoardRow]:
        return [self._row(team) for team in self.result.teams]

    def _row(self, team: TeamResult) -> BoardRow:
        design = team.design(self.design)
        cells = [CellView(self.experiment, cell) for cell in design.cells if cell.value != self.experiment.predicted]
        predicted, measured, difference = "", "", ""
        if self.experiment.predicted is not None:
            if isinstance(design.prediction, Measured):
                predicted = charts.with_unit(self.experiment, design.prediction.value)
            measured = CellView(self.experiment, design.cell(self.experiment.predicted)).mean
            if isinstance(design.gap, Gap) and isinstance(design.gap.percent, Measured):
                difference = f"{charts.signed(design.gap.percent.value, 1, plus=True)}{NO_BREAK}%"
        known = self.wheels.get(team.key, {}).get(self.design)
        wheel = f"{known.wheel.mass_kg.value * 1000:.1f}{NO_BREAK}g" if known else ""
        return BoardRow(team, wheel, [cell.mean for cell in cells], predicted, measured, difference)

    @property
    def told(self) -> list[Told]:
        """What may be said: the chosen team's prediction, the best by evidence, what this class could tell apart."""
        found: list[Told] = []
        if self.team is not None:
            own = gap_told(self.experiment, self.team.design(self.design))
            found += [own] if own else []
            found += self._against_first()
        else:
            found += [self._best()]
        smallest = class_told(self.experiment, self.result)
        return [*found, *([smallest] if smallest else [])]

    def _best(self) -> Told:
        value = self.experiment.values[-1]
        at = charts.changed_with_unit(self.experiment, value)
        ranking = self.result.ranking(self.design, value)
        if not isinstance(ranking, Ranking):
            return Told(
                "live",
                "chart",
                _("No comparison yet"),
                _("Two teams with three trials at %(at)s are needed.") % {"at": at},
            )
        leader = ranking.standings[0]
        lead = charts.with_unit(self.experiment, leader.group.mean)
        word = _("lowest") if self.experiment.best is Best.LOW else _("highest")
        if ranking.winner:
            return Told(
                "good",
                "s-pass",
                _("%(team)s lead, and the data show it") % {"team": leader.name},
                _("Their mean at %(at)s, %(mean)s, is the %(word)s, and further from the rest than trials scatter.")
                % {"at": at, "mean": lead, "word": word},
            )
        level = [s.name for s in ranking.standings[1:] if not s.behind]
        return Told(
            "care",
            "s-advice",
            _("The data do not name a best design"),
            _("%(team)s have the %(word)s mean at %(at)s, %(mean)s, but %(others)s cannot be told apart from them.")
            % {"team": leader.name, "word": word, "at": at, "mean": lead, "others": ", ".join(level)},
        )

    def _against_first(self) -> list[Told]:
        """The chosen design against the first one, at the value both have."""
        assert self.team is not None
        first = self.experiment.designs[0]
        if self.design == first:
            return []
        for value in reversed(self.experiment.values):
            found = self.team.compare(self.design, first, value)
            if isinstance(found, Comparison):
                return [self._compared(found, first, value)]
        return []

    def _compared(self, found: Comparison, first: str, value: float) -> Told:
        facts = {
            "design": self.design,
            "first": first,
            "at": charts.changed_with_unit(self.experiment, value),
            "difference": charts.with_unit(self.experiment, found.difference.value, more=1),
            "low": charts.with_unit(self.experiment, found.interval.low, more=1),
            "high": charts.with_unit(self.experiment, found.interval.high, more=1),
        }
        if found.told_apart:
            return Told(
                "good", "s-pass", _("The designs differ"),
                _("At %(at)s %(design)s less %(first)s is %(difference)s, from %(low)s to %(high)s.") % facts,
            )  # fmt: skip
        return Told(
            "care", "s-advice", _("The designs cannot be told apart"),
            _("At %(at)s %(design)s less %(first)s is %(difference)s; from %(low)s to %(high)s, so it may be zero.")
            % facts,
        )  # fmt: skip


def board_page(assignment: Assignment, experiment: Experiment, design: str, team: str) -> BoardPage:
    """The board as the address asks for it. While frozen it shows what was there at that moment."""
    board = queries.board_of(assignment)
    result = queries.results(assignment, experiment, board)
    chosen = design if design in experiment.designs else experiment.designs[-1]
    large = next((each for each in result.teams if str(each.key) == team), None)
    teams = list(Team.objects.filter(school_class=assignment.school_class_id))
    wheels = physics.wheels_of_teams(assignment, teams, experiment) if experiment.cart else {}
    return BoardPage(assignment, experiment, board, result, chosen, large, wheels)
