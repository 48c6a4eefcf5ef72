"""Expected beside measured for one team's design, for experiments whose model is not the rolling cart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, models, queries
from lessons.lab.experiment import Experiment
from lessons.lab.model_kinds import ABOUT, Words
from lessons.lab.models.answer import Expected, plus_minus, sentence
from lessons.lab.parts import LabPart, as_measured, parts_of
from lessons.lab.results import ClassResult, DesignResult, TeamResult
from lessons.lab.told import CellView, Told
from lessons.lab.unknown import why_not
from lessons.models import Assignment, Team
from lessons.science.compare import prediction_gap, smallest_found
from lessons.science.summary import KnownScatter
from lessons.science.values import Measured, Unknown, exactly
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK

LEAST_DF = 10  # a class's own scatter is trusted from so many free differences on, as for outlier questions


@dataclass(frozen=True)
class ModelRow:
    """One value of the changed variable: expected, measured, and whether they agree. ``why`` there is no figure."""

    label: str
    expected: str
    why: str
    measured: str
    difference: str
    agree: bool | None


@dataclass
class ModelPage:
    """What physics says of a team's part. ``first``: the kit's own, to compare with; None for its own page."""

    assignment: Assignment
    experiment: Experiment
    result: ClassResult
    team: TeamResult
    design: DesignResult
    parts: Mapping[str, LabPart]

    @property
    def about(self) -> Words:
        """What the model is called."""
        return ABOUT[self.experiment.model.kind].label if self.experiment.model else ""

    @cached_property
    def expected(self) -> Expected:
        return expected_of(self.experiment, self.design, self.parts)

    @property
    def without(self) -> str:
        """Why there is nothing at all to show; empty when there is something."""
        if self.experiment.model is None:
            return _("This lesson's experiment names no model to compute with.")
        if self.parts.get(self.design.design) is None:
            return _("The part of this design is not measured yet. Its figures come from the checked file.")
        return ""

    @property
    def unknown(self) -> str:
        """Why no value can be given, where none can."""
        return self.expected.without

    @property
    def rows(self) -> list[ModelRow]:
        return [self._row(value) for value in sorted(self.experiment.values)]

    def _row(self, value: float) -> ModelRow:
        cell, expected = self.design.cell(value), self.expected.values[value]
        measured, difference, agree = cell.y(), "–", None
        if isinstance(expected, Measured) and isinstance(measured, Measured):
            gap = prediction_gap(expected, measured)
            difference, agree = charts.signed(gap.difference.value, self.decimals, plus=True), gap.agree
            difference += NO_BREAK + self.experiment.measured.unit
        return ModelRow(
            label=charts.changed_with_unit(self.experiment, value),
            expected=self.text(expected) if isinstance(expected, Measured) else "–",
            why=sentence(why_not(expected)) if isinstance(expected, Unknown) else "",
            measured=CellView(self.experiment, cell).mean,
            difference=difference.strip(),
            agree=agree,
        )

    @property
    def decimals(self) -> int:
        return self.experiment.measured.decimals

    def text(self, value: Measured) -> str:
        return f"{plus_minus(value, self.decimals)}{NO_BREAK}{self.experiment.measured.unit}".strip()

    @cached_property
    def chart(self) -> Chart:
        return charts.team_chart(
            self.experiment, self.team, self.design, curve_of(self.experiment, self.design, self.parts)
        )

    @property
    def told(self) -> list[Told]:
        against = self._against_first()
        return [*self.expected.told, *([against] if against else [])]

    def _against_first(self) -> Told | None:
        """What the own part is expected to change against the kit's, and whether this class could see it."""
        first = self.team.designs[0]
        if first.design == self.design.design or first.design not in self.parts:
            return None
        at = self.experiment.compared_at
        pair = [self.expected.values[at], expected_of(self.experiment, first, self.parts).values[at]]
        if not (isinstance(pair[0], Measured) and isinstance(pair[1], Measured)):
            return None
        change = pair[0].value - pair[1].value
        facts = {
            "at": charts.changed_with_unit(self.experiment, at),
            "design": self.design.label,
            "first": first.label,
            "change": charts.signed(change, self.decimals + 1, plus=True) + NO_BREAK + self.experiment.measured.unit,
        }
        text = _("At %(at)s the %(design)s less the %(first)s is expected to be %(change)s.") % facts
        found = self._smallest()
        if found is None:
            return Told("live", "ruler", _("What the redesign should change"), text)
        facts["found"] = charts.with_unit(self.experiment, found, more=1)
        text += " " + _("With these runs a difference is found four times in five from %(found)s on.") % facts
        if abs(change) >= found:
            return Told("good", "s-pass", _("This class could see the redesign"), text)
        return Told("care", "s-advice", _("The redesign may hide in the scatter"), text)

    def _smallest(self) -> float | None:
        """The true difference found four times in five, by the class's own scatter or the one the plan knows."""
        own = self.result.scatter
        scatter = own if isinstance(own, KnownScatter) and own.df >= LEAST_DF else self.experiment.scatter
        trials = max(self.experiment.trials, 2)
        return None if scatter is None else smallest_found(trials, trials, scatter)


def expected_of(experiment: Experiment, design: DesignResult, parts: Mapping[str, LabPart]) -> Expected:
    """At what the team really weighed or set, where it did."""
    at = {value: design.cell(value).x for value in experiment.values}
    return models.expected(experiment, parts.get(design.design), at)


def curve_of(experiment: Experiment, design: DesignResult, parts: Mapping[str, LabPart]) -> dict[float, Measured]:
    """What is expected all along the axis, to be drawn."""
    at = {value: exactly(value) for value in charts.along(experiment)}
    return models.expected(experiment, parts.get(design.design), at).known


def model_page(assignment: Assignment, experiment: Experiment, team: Team, design: str) -> ModelPage:
    """The page for one team's design; its newest one when ``design`` is none of them."""
    result = queries.results(assignment, experiment)
    own = result.team(team.pk)
    assert own is not None, "a team belongs to its class"
    asked = (each for each in own.all_designs if design in (each.design, each.label))
    chosen = next(asked, own.designs[-1])
    parts = as_measured(parts_of(assignment, team, experiment), own) if models.has_model(experiment) else {}
    return ModelPage(assignment, experiment, result, own, chosen, parts)
