"""Expected beside measured for one team's design, in words for both school levels."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, physics, queries
from lessons.lab.coasting import losses_told
from lessons.lab.experiment import Experiment
from lessons.lab.parts import LabPart, as_measured, parts_of_teams
from lessons.lab.results import ClassResult, DesignResult, TeamResult
from lessons.lab.rim import Rim, rim_of, rim_told
from lessons.lab.told import CellView, Told
from lessons.models import Assignment, Coasting, Team
from lessons.science.compare import prediction_gap
from lessons.science.rolling import (
    NO_LOSS,
    Cart,
    Losses,
    Ramp,
    Run,
    Wheel,
    expected_run,
    friction_needed,
)
from lessons.science.values import Measured, Unknown
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK


@dataclass(frozen=True)
class ExpectedRow:
    """One value of the changed variable: without loss, with this class's loss, measured; whether they agree."""

    label: str
    lossless: str
    expected: str
    measured: str
    difference: str
    agree: bool | None


@dataclass
class ExpectationPage:
    """What rolling physics says of a team's cart. ``without`` says why there is nothing to say."""

    assignment: Assignment
    experiment: Experiment
    result: ClassResult
    team: TeamResult
    design: DesignResult
    wheel: Wheel | None
    losses: Losses | Unknown

    @property
    def without(self) -> str:
        if self.experiment.ramp is None or self.experiment.cart is None:
            return _("This lesson's experiment has no ramp and cart to compute with.")
        if self.wheel is None:
            return _(
                "The wheel of this design is not measured yet. Its mass and spin inertia come from the checked file."
            )
        return ""

    @property
    def ramp(self) -> Ramp:
        assert self.experiment.ramp is not None
        return self.experiment.ramp

    def cart(self, value: float) -> Cart:
        assert self.wheel is not None
        weighed = self.design.cell(value).x.value  # what the team weighed, where it did
        cart = physics.cart_with(self.experiment, self.wheel, weighed)
        assert cart is not None
        return cart

    @property
    def used_losses(self) -> Losses:
        return NO_LOSS if isinstance(self.losses, Unknown) else self.losses

    @cached_property
    def runs(self) -> dict[float, Run | Unknown]:
        return {v: expected_run(self.cart(v), self.ramp, self.used_losses) for v in self.experiment.values}

    @property
    def rows(self) -> list[ExpectedRow]:
        return [self._row(value) for value in sorted(self.experiment.values)]

    def _row(self, value: float) -> ExpectedRow:
        cell = self.design.cell(value)
        lossless, run, measured = expected_run(self.cart(value), self.ramp), self.runs[value], cell.y()
        difference, agree = "–", None
        if isinstance(run, Run) and isinstance(measured, Measured):
            gap = prediction_gap(run.time_s, measured)
            difference, agree = charts.with_unit(self.experiment, gap.difference.value), gap.agree
        return ExpectedRow(
            label=charts.changed_with_unit(self.experiment, value),
            lossless=self._time(lossless),
            expected=self._time(run),
            measured=CellView(self.experiment, cell).mean,
            difference=difference,
            agree=agree,
        )

    def _time(self, run: Run | Unknown) -> str:
        if isinstance(run, Unknown):
            return "–"
        return f"{run.time_s.value:.2f}{NO_BREAK}±{NO_BREAK}{run.time_s.uncertainty:.2f}{NO_BREAK}s"

    @cached_property
    def chart(self) -> Chart:
        assert self.wheel is not None
        curve = physics.expected_times(self.experiment, self.wheel, charts.along(self.experiment), self.used_losses)
        return charts.team_chart(self.experiment, self.team, self.design, physics.times_of(curve))

    @property
    def first_value(self) -> float:
        return min(self.experiment.values)

    @property
    def spin_in_100(self) -> float:
        """Of 100 J of motion at the bottom, so many J are in the spinning wheels."""
        return 100 * self.cart(self.first_value).spin_share

    @property
    def figures(self) -> dict[str, str]:
        """The numbers of the formula, for those who follow it."""
        assert self.wheel is not None
        wheel, cart, run = self.wheel, self.cart(self.first_value), self.runs[self.first_value]
        return {
            "wheel_g": f"{wheel.mass_kg.value * 1000:.1f}",
            "inertia": f"{wheel.inertia_kg_m2.value * 1e7:.1f}",  # g cm2
            "radius_mm": f"{wheel.radius_m.value * 1000:.1f}",
            "factor": f"{wheel.shape_factor:.2f}",
            "cart_g": f"{cart.mass_kg * 1000:.1f}",
            "steepness": f"{self.ramp.steepness:.3f}",
            "slope_deg": f"{self.ramp.slope_deg:.1f}",
            "length_m": f"{self.ramp.length_m.value:.2f}",
            "rise_m": f"{self.ramp.rise_m.value:.3f}",
            "acceleration": f"{run.acceleration.value:.3f}" if isinstance(run, Run) else "–",
            "rim_inertia": "–" if isinstance(self.rim, Unknown) else f"{self.rim.inertia_g_cm2:.1f}",
            "friction": f"{friction_needed(cart, self.ramp):.3f}",
            "loss": f"{self.used_losses.share.value:.4f} ± {self.used_losses.share.uncertainty:.4f}",
        }

    @cached_property
    def rim(self) -> Rim | Unknown:
        value = self.first_value
        return rim_of(self.experiment, self.cart(value), self.ramp, self.used_losses, value)

    @property
    def told(self) -> list[Told]:
        return [losses_told(self.losses), *rim_told(self.experiment, self.rim, self.result.scatter)]


def losses_of_teams(
    experiment: Experiment,
    result: ClassResult,
    parts: Mapping[int, Mapping[str, LabPart]],
    coasted: Iterable[Coasting],
) -> dict[int, Losses]:
    """The loss each team's expected times use: of its own coast-downs, else fitted to the class's times, else none."""
    if experiment.cart is None:
        return dict.fromkeys(parts, NO_LOSS)
    rows: dict[int, list[Coasting]] = {}
    for row in coasted:
        rows.setdefault(row.team_id, []).append(row)
    fitted = physics.class_losses(experiment, result, parts)
    found = {}
    for key, mine in parts.items():
        own = physics.coasting_losses(experiment, rows.get(key, []), mine)
        used = fitted if isinstance(own, Unknown) else own
        found[key] = NO_LOSS if isinstance(used, Unknown) else used
    return found


def expectation_page(assignment: Assignment, experiment: Experiment, team: Team, design: str) -> ExpectationPage:
    """The page for one team's design; the loss is from its own coast-downs, else fitted to the whole class."""
    result = queries.results(assignment, experiment)
    own = result.team(team.pk)
    assert own is not None, "a team belongs to its class"
    asked = (each for each in own.all_designs if design in (each.design, each.label))
    chosen = next(asked, own.designs[-1])
    known = parts_of_teams(assignment, queries.teams_of(assignment), experiment)
    parts = {each.key: as_measured(known.get(each.key, {}), each) for each in result.teams}
    coasted = Coasting.objects.filter(assignment=assignment, team=team)
    losses = physics.coasting_losses(experiment, coasted, parts.get(team.pk, {}))
    if isinstance(losses, Unknown):
        losses = physics.class_losses(experiment, result, parts)
    wheel = physics.wheel_in(parts.get(team.pk, {}), chosen.design)
    return ExpectationPage(assignment, experiment, result, own, chosen, wheel, losses)
