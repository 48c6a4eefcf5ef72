"""A team's designs side by side: what changed in the part, and whether the readings can tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, queries
from lessons.lab.experiment import Experiment
from lessons.lab.part_figures import figures_of
from lessons.lab.parts import LabPart, as_measured, parts_of
from lessons.lab.results import ClassResult, TeamResult
from lessons.lab.told import CellView, Told, class_told
from lessons.models import Assignment, Team
from lessons.science.compare import Comparison
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK


@dataclass(frozen=True)
class FigureRow:
    """One figure of the part for every design, in their order; ``change`` from the first chosen to the second."""

    label: str
    values: list[str]
    change: str


@dataclass(frozen=True)
class TestRow:
    """Two designs at one value: their means, the difference with its 95 % interval, and Welch's verdict."""

    label: str
    before: str
    after: str
    difference: str
    interval: str
    p: str
    told_apart: bool | None


@dataclass
class DesignsPage:
    """Two designs of a team, ``before`` and ``after``, by the part and by the lab."""

    assignment: Assignment
    experiment: Experiment
    result: ClassResult
    team: TeamResult
    before: str
    after: str
    parts: Mapping[str, LabPart]

    @property
    def can_compare(self) -> bool:
        return self.before != self.after

    @property
    def names(self) -> list[str]:
        """The two designs with the version that stands behind them, where it is known."""
        known = [(name, self.parts.get(name)) for name in (self.before, self.after)]
        return [f"{name} ({part.name})" if part and part.name not in name else name for name, part in known]

    @property
    def choices(self) -> list[str]:
        return [each.design for each in self.team.all_designs]

    @cached_property
    def figures(self) -> list[FigureRow]:
        """Mesh figures; empty when neither part is measured."""
        pair = [self.parts.get(self.before), self.parts.get(self.after)]
        if not any(pair):
            return []
        asked = figures_of(self.experiment)
        rows = [(each, [each.of(part) if part else None for part in pair]) for each in asked]
        return [_row(each.label, each.unit, each.decimals, values) for each, values in rows if any(values)]

    @cached_property
    def tests(self) -> list[TestRow]:
        return [self._test(value) for value in sorted(self.experiment.values)]

    def comparison(self, value: float) -> Comparison | None:
        found = self.team.compare(self.after, self.before, value)
        return found if isinstance(found, Comparison) else None

    def _test(self, value: float) -> TestRow:
        cells = [CellView(self.experiment, self.team.design(name).cell(value)) for name in (self.before, self.after)]
        found = self.comparison(value)
        difference = interval = p = "–"
        if found is not None:
            difference = charts.signed(found.difference.value, self._decimals, plus=True)
            low, high = (charts.signed(end, self._decimals) for end in (found.interval.low, found.interval.high))
            interval, p = _("%(low)s to %(high)s") % {"low": low, "high": high}, f"{found.p:.2g}"
        return TestRow(
            charts.changed_with_unit(self.experiment, value), cells[0].mean, cells[1].mean, difference, interval, p,
            None if found is None else found.told_apart,
        )  # fmt: skip

    @property
    def _decimals(self) -> int:
        return self.experiment.measured.decimals + 1

    @property
    def told(self) -> list[Told]:
        """In plain sentences: what changed, whether the data can tell, and what this class could tell."""
        found = [self._changed(), self._verdict(), class_told(self.experiment, self.result)]
        return [each for each in found if each is not None]

    def _changed(self) -> Told | None:
        changes = [f"{row.label.lower()} {row.change}" for row in self.figures if row.change not in ("", "–")]
        if self.parts.get(self.before) is None or self.parts.get(self.after) is None:
            return None
        facts = {"before": self.before, "after": self.after, "changes": "; ".join(changes)}
        text = _("From %(before)s to %(after)s: %(changes)s.") if changes else _("By these figures nothing changed.")
        return Told("live", "ruler", _("What changed in the part"), text % facts)

    def _verdict(self) -> Told | None:
        found = [(value, self.comparison(value)) for value in sorted(self.experiment.values)]
        known = [(value, each) for value, each in found if each is not None]
        if not known:
            return Told(
                "live", "chart", _("No test yet"), _("Both designs need three runs at one value, with some scatter.")
            )
        apart = [charts.changed_with_unit(self.experiment, value) for value, each in known if each.told_apart]
        if not apart:
            text = _(
                "Every difference lies within what repeated runs scatter. It may be there, but this does not show it."
            )
            return Told("care", "s-advice", _("The data cannot tell the two apart"), text)
        facts = {"at": ", ".join(apart), "few": len(apart), "all": len(known)}
        text = _("At %(at)s the difference is larger than chance makes in 95 of 100 tries (%(few)d of %(all)d tested).")
        if len(known) > 1:
            text += " " + _("Among several tests one may come out by luck; look whether all point the same way.")
        return Told("good", "s-pass", _("The data tell the two apart"), text % facts)

    @cached_property
    def chart(self) -> Chart:
        return charts.designs_chart(self.experiment, self.team)


def _row(label: str, unit: str, decimals: int, values: list[float | None]) -> FigureRow:
    texts = ["–" if value is None else f"{value:.{decimals}f}{NO_BREAK}{unit}" for value in values]
    before, after = values
    if before is None or after is None:
        return FigureRow(label, texts, "–")
    change = round(after, decimals) - round(before, decimals)  # as the two figures stand on the page
    if round(change, decimals) == 0:
        return FigureRow(label, texts, "")
    shown = charts.signed(change, decimals, plus=True)
    return FigureRow(label, texts, f"{shown}{NO_BREAK}{unit}")


def designs_page(assignment: Assignment, experiment: Experiment, team: Team, before: str, after: str) -> DesignsPage:
    """The page of one team; without a choice its two newest versions, or its first design against its last."""
    result = queries.results(assignment, experiment)
    own = result.team(team.pk)
    assert own is not None, "a team belongs to its class"
    names = [each.design for each in own.all_designs]
    first = before if before in names else names[-2] if own.earlier else names[0]
    last = after if after in names else names[-1]
    parts = as_measured(parts_of(assignment, team, experiment), own)
    return DesignsPage(assignment, experiment, result, own, first, last, parts)
