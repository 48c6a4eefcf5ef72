"""After the lab: a team's claim, evidence and reasoning beside its numbers, and the teacher's marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from django.utils.translation import gettext as _

from lessons.lab import charts, claims, queries
from lessons.lab.claims import Verdict
from lessons.lab.experiment import Experiment
from lessons.lab.results import ClassResult, TeamResult
from lessons.lab.told import CellView, Told, gap_told
from lessons.models import Argument, Assignment, Mark, Team
from lessons.science.compare import Comparison
from lessons.science.values import Measured
from makerlab.components.chart import Chart


@dataclass(frozen=True)
class RubricRow:
    """One row of the plan's rubric with its four texts, weakest first, and the mark given."""

    number: int
    name: str
    levels: list[tuple[int, str]]
    mark: Mark | None


@dataclass(frozen=True)
class Figure:
    """A graph, its name on the page, and the numbers in it."""

    name: str
    chart: Chart
    cells: list[CellView]


@dataclass
class ArgumentPage:
    """A team's argument. ``kept`` holds what somebody typed that could not be saved yet."""

    assignment: Assignment
    experiment: Experiment
    team: Team
    result: TeamResult
    argument: Argument
    marks: Mapping[int, Mark]
    kept: dict[str, str] | None = None
    class_result: ClassResult | None = None

    @property
    def says(self) -> str:
        return self.kept.get("says", "") if self.kept else self.argument.says

    @property
    def claims(self) -> list[tuple[str, str]]:
        """The lines to choose from, by key."""
        return claims.choices(self.experiment)

    @property
    def said(self) -> str:
        """The claim in one line, as saved."""
        return claims.words_of(self.experiment, self.argument.says)

    @cached_property
    def verdict(self) -> Verdict | None:
        """Whether the readings support the saved claim."""
        if self.class_result is None:
            return None
        return claims.verdict(self.experiment, self.class_result, self.result, self.argument.says)

    @property
    def claim(self) -> str:
        return self.kept["claim"] if self.kept else self.argument.claim

    @property
    def evidence(self) -> str:
        """What the team wrote; its own numbers in sentences while it has written nothing."""
        if self.kept:
            return self.kept["evidence"]
        return self.argument.evidence or "\n".join(self.numbers)

    @property
    def reasoning(self) -> str:
        return self.kept["reasoning"] if self.kept else self.argument.reasoning

    @cached_property
    def numbers(self) -> list[str]:
        """The team's results as sentences to build on."""
        lines = []
        for design in self.result.all_designs:
            means = [
                f"{charts.changed_with_unit(self.experiment, cell.value)}: {CellView(self.experiment, cell).mean}"
                for cell in design.cells
                if cell.mean is not None
            ]
            if means:
                lines.append(f"{design.label.capitalize()}: {'; '.join(means)}.")
            if isinstance(design.prediction, Measured) and self.experiment.predicted is not None:
                lines.append(
                    _("For %(at)s we predicted %(value)s.")
                    % {
                        "at": charts.changed_with_unit(self.experiment, self.experiment.predicted),
                        "value": charts.with_unit(self.experiment, design.prediction.value),
                    }
                )
        return lines

    @property
    def support(self) -> list[Told]:
        """What the numbers do and do not support, to be read before claiming it."""
        found = [(design, gap_told(self.experiment, design)) for design in self.result.all_designs]
        told = [replace(each, title=f"{each.title} ({design.label})") for design, each in found if each is not None]
        return told + self._designs()

    def _designs(self) -> list[Told]:
        names = [design.design for design in self.result.designs]
        if len(names) < 2:
            return []
        first, last = names[0], names[-1]
        for value in [self.experiment.compared_at, *reversed(self.experiment.values)]:
            found = self.result.compare(last, first, value)
            if isinstance(found, Comparison):
                at = charts.changed_with_unit(self.experiment, value)
                facts = {"first": first, "last": last, "at": at}
                if found.told_apart:
                    return [Told("good", "s-pass", _("Your designs differ"), _("At %(at)s %(last)s and %(first)s differ by more than the runs scatter.") % facts)]  # fmt: skip  # noqa: E501
                return [Told("care", "s-advice", _("Not shown: which design is better"), _("At %(at)s %(last)s and %(first)s cannot be told apart by these runs.") % facts)]  # fmt: skip  # noqa: E501
        return []

    @property
    def rubric(self) -> list[RubricRow]:
        rows = []
        for number, row in enumerate(_rubric(self.assignment)):
            levels = list(enumerate(row.get("levels", []), start=1))
            rows.append(RubricRow(number, str(row.get("row", "")), levels, self.marks.get(number)))
        return rows

    @property
    def figures(self) -> list[Figure]:
        """The graphs of the designs that were run, with their numbers."""
        run = [design for design in self.result.all_designs if design.runs_done]
        return [
            Figure(
                f"graph-{number}",
                charts.team_chart(self.experiment, self.result, design),
                [CellView(self.experiment, cell) for cell in design.cells if cell.entries],
            )
            for number, design in enumerate(run)
        ]


def _rubric(assignment: Assignment) -> list[dict[str, Any]]:
    return list(assignment.plan.content.get("rubric", []))


def argument_page(
    assignment: Assignment, experiment: Experiment, team: Team, kept: dict[str, str] | None = None
) -> ArgumentPage:
    """The page of one team."""
    whole = queries.results(assignment, experiment)
    result = whole.team(team.pk)
    assert result is not None, "a team belongs to its class"
    argument = Argument.objects.filter(assignment=assignment, team=team).first()
    marks = {mark.row: mark for mark in Mark.objects.filter(assignment=assignment, team=team)}
    return ArgumentPage(
        assignment, experiment, team, result, argument or Argument(assignment=assignment, team=team), marks, kept, whole
    )
