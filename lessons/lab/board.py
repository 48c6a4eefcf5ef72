"""What the class board shows: every team, the chosen one large, and what the data allow to say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.lab import charts, claims, physics, queries
from lessons.lab.cautions import CautionGroup, lab_cautions
from lessons.lab.experiment import Experiment, ExperimentError
from lessons.lab.model_page import curve_of
from lessons.lab.models import has_model
from lessons.lab.parts import LabPart, as_measured, parts_of_teams
from lessons.lab.results import ClassResult, TeamResult
from lessons.lab.standing import Standings, standings
from lessons.lab.told import CellView, Told, class_told, gap_told
from lessons.models import Argument, Assignment, Coasting, LabBoard, Team
from lessons.science.compare import Comparison, Gap
from lessons.science.rolling import Losses
from lessons.science.values import Measured, Unknown
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK


@dataclass(frozen=True)
class BoardRow:
    """A team in the table of everyone."""

    team: TeamResult
    part: str
    means: list[str]
    predicted: str
    measured: str
    difference: str


CLAIM_SHOWN = 160


@dataclass(frozen=True)
class ClaimRow:
    """What a team claims: the line that readings can decide, its own words, and the verdict on the former."""

    team: str
    said: str
    own: str
    verdict: claims.Verdict | None


@dataclass(frozen=True)
class Pin:
    """A numbered note at a team's point."""

    number: int
    key: int
    value: float
    team: str
    at: str
    words: str


@dataclass
class BoardPage:
    """The class board: every team, the chosen one large, and what the data allow to say."""

    assignment: Assignment
    experiment: Experiment
    board: LabBoard
    result: ClassResult
    design: str
    team: TeamResult | None
    parts: dict[int, dict[str, LabPart]]

    @property
    def cautions(self) -> list[CautionGroup]:
        return lab_cautions(self.assignment)

    @property
    def designs(self) -> tuple[str, ...]:
        return self.experiment.designs

    @cached_property
    def losses(self) -> Losses | Unknown:
        """From the chosen team's own coast-downs, else fitted to the class's times."""
        if self.team is not None and self.experiment.cart is not None:
            coasted = Coasting.objects.filter(assignment=self.assignment, team=self.team.key)
            if self.board.frozen_at is not None:
                coasted = coasted.filter(entered_at__lte=self.board.frozen_at)
            own = physics.coasting_losses(self.experiment, coasted, self.parts.get(self.team.key, {}))
            if isinstance(own, Losses):
                return own
        return physics.class_losses(self.experiment, self.result, self.parts)

    @cached_property
    def expected(self) -> dict[float, Measured]:
        """What physics expects of the chosen team's design; of a cart with the loss the class's own times show."""
        if self.team is None:
            return {}
        parts = self.parts.get(self.team.key, {})
        if self.experiment.cart is None:
            return curve_of(self.experiment, self.team.design(self.design), parts)
        wheel = physics.wheel_in(parts, self.design)
        if wheel is None or isinstance(self.losses, Unknown):
            return {}
        return physics.times_of(
            physics.expected_times(self.experiment, wheel, charts.along(self.experiment), self.losses)
        )

    @cached_property
    def chart(self) -> Chart:
        if self.team is None:
            points = [(each.key, each.value) for each in self.pins]
            return charts.class_chart(self.experiment, self.result, self.design, points)
        return charts.team_chart(self.experiment, self.team, self.team.design(self.design), self.expected)

    @property
    def has_model(self) -> bool:
        return has_model(self.experiment)

    @property
    def has_parts(self) -> bool:
        return any(self.design in known for known in self.parts.values())

    @property
    def part_word(self) -> str:
        return _("Wheel") if self.experiment.cart else _("Part")

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
        known = self.parts.get(team.key, {}).get(self.design)
        part = f"{known.mass_g:.1f}{NO_BREAK}g" if known else ""
        return BoardRow(team, part, [cell.mean for cell in cells], predicted, measured, difference)

    @cached_property
    def pins(self) -> list[Pin]:
        """Notes at points of the graph, by number; that of a team that is gone keeps its number and loses its name."""
        found = []
        for number, each in enumerate(self.board.pins, start=1):
            team, value = self.result.team(each["team"]), float(each["value"])
            at = charts.changed_with_unit(self.experiment, value)
            found.append(Pin(number, each["team"], value, team.name if team else "–", at, each["words"]))
        return found

    @property
    def values(self) -> list[tuple[str, str]]:
        """Where a note can be pinned: the value as an address writes it, and with its unit."""
        return [(f"{v:g}", charts.changed_with_unit(self.experiment, v)) for v in self.experiment.values]

    @cached_property
    def standings(self) -> Standings:
        return standings(self.experiment, self.result, self.design)

    @cached_property
    def claims(self) -> list[ClaimRow]:
        """What teams claim, and whether their readings support it; a frozen board keeps to what was claimed then."""
        if self.team is not None:
            return []
        shown = self.claimed if self.board.frozen_at is None else self.board.claims
        return [row for each in shown if (row := self._claim(each)) is not None]

    @cached_property
    def claimed(self) -> list[dict[str, Any]]:
        """What teams claim now: the fields of ``LabBoard.claims``."""
        rows = Argument.objects.filter(assignment=self.assignment).order_by("team__number")
        return [{"team": row.team_id, "says": row.says, "claim": row.claim} for row in rows]

    @cached_property
    def since_frozen(self) -> str:
        """What came in since the board was frozen and is not on it; empty when nothing did, or it runs."""
        if self.board.frozen_at is None:
            return ""
        runs = queries.entered_since(self.assignment, self.board)
        then = {each["team"]: each for each in self.board.claims}
        changed = [each for each in self.claimed if each != then.get(each["team"], {**each, "says": "", "claim": ""})]
        parts = []
        if runs:
            parts.append(
                ngettext("%(n)d run entered or corrected", "%(n)d runs entered or corrected", runs) % {"n": runs}
            )
        if changed:
            n = len(changed)
            parts.append(ngettext("%(n)d claim written or changed", "%(n)d claims written or changed", n) % {"n": n})
        return ", ".join(parts)

    def _claim(self, claimed: Mapping[str, Any]) -> ClaimRow | None:
        team = self.result.team(claimed["team"])
        said, own = claims.words_of(self.experiment, claimed["says"]), claimed["claim"].strip()
        if team is None or not (said or own):
            return None
        found = claims.verdict(self.experiment, self.result, team, claimed["says"])
        return ClaimRow(team.name, said, Truncator(own).chars(CLAIM_SHOWN), found)

    @property
    def told(self) -> list[Told]:
        """What may be said: the chosen team's prediction, the best by evidence, what this class could tell apart."""
        found: list[Told] = []
        if self.team is not None:
            own = gap_told(self.experiment, self.team.design(self.design))
            found += [own] if own else []
            found += self._against_first()
        else:
            found += [self.standings.told]
        smallest = class_told(self.experiment, self.result)
        return [*found, *([smallest] if smallest else [])]

    def _against_first(self) -> list[Told]:
        """The chosen design against the first one, at the value both have."""
        assert self.team is not None
        first = self.experiment.designs[0]
        if self.design == first:
            return []
        for value in [self.experiment.compared_at, *reversed(self.experiment.values)]:
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
    known = parts_of_teams(assignment, queries.teams_of(assignment), experiment) if has_model(experiment) else {}
    parts = {each.key: as_measured(known.get(each.key, {}), each) for each in result.teams}
    return BoardPage(assignment, experiment, board, result, chosen, large, parts)


def overlay(given: Sequence[Assignment], teams: Sequence[Team]) -> BoardPage | None:
    """The newest lab of a class that has readings, as the class's own page shows it; None before the first reading.
    ``given``: its lessons as ``lessons.classes.page.given_to`` reads them; ``teams``: its teams by number."""
    told = [(each.last_reading_at, each) for each in given if each.last_reading_at]  # type: ignore[attr-defined]
    if not told:
        return None
    assignment = max(told, key=lambda pair: pair[0])[1]
    queries.keep_teams(assignment, teams)
    try:
        experiment = queries.experiment_of(assignment)
    except ExperimentError:
        return None
    if experiment is None:
        return None
    board = queries.board_of(assignment)
    result = queries.results(assignment, experiment, board)
    return BoardPage(assignment, experiment, board, result, experiment.designs[-1], None, {})
