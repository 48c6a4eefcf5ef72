"""Expected beside measured for one team's design, in words for both school levels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from lessons.lab import charts, physics, queries
from lessons.lab.experiment import Experiment
from lessons.lab.results import ClassResult, DesignResult, TeamResult
from lessons.lab.told import CellView, Told
from lessons.models import Assignment, Coasting, Team
from lessons.science.compare import prediction_gap, smallest_found
from lessons.science.rolling import (
    NO_LOSS,
    Cart,
    Losses,
    Ramp,
    Run,
    expected_run,
    friction_needed,
    lighter_at_rim,
)
from lessons.science.summary import KnownScatter
from lessons.science.values import Measured, Unknown
from makerlab.components.chart import Chart
from makerlab.components.figures import NO_BREAK

RIM_CHANGE_G = 1.0


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
    wheel: physics.LabWheel | None
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
        cart = physics.cart_with(self.experiment, self.wheel.wheel, weighed)
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
        return charts.team_chart(self.experiment, self.team, self.design, self.runs)

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
        wheel, cart, run = self.wheel.wheel, self.cart(self.first_value), self.runs[self.first_value]
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
            "friction": f"{friction_needed(cart, self.ramp):.3f}",
            "loss": f"{self.used_losses.share.value:.4f} ± {self.used_losses.share.uncertainty:.4f}",
        }

    @property
    def told(self) -> list[Told]:
        return [told for told in (self._loss(), self._rim(), self._honest()) if told is not None]

    def _loss(self) -> Told:
        if isinstance(self.losses, Unknown):
            return Told("live", "chart", _("Without losses so far"), self.losses.because.capitalize() + ".")
        share = 100 * self.losses.share.value
        if self.losses.source == physics.COASTED:
            why = _("This share is from your own coast-downs on the level, without the ramp.")
        else:
            why = _("This share explains the class's own times best.")
        return Told(
            "live",
            "chart",
            _("Rolling and bearings take %(share)s in 100 of the weight") % {"share": f"{share:.1f}"},
            f"{why} {_('Real carts are slower than the formula without it.')}",
        )

    def _rim(self) -> Told | None:
        assert self.wheel is not None
        try:
            change = lighter_at_rim(self.cart(self.first_value), self.ramp, self.used_losses, RIM_CHANGE_G)
        except ValueError:
            return None
        if isinstance(change, Unknown):
            return None
        words = _("shorter") if change < 0 else _("longer")
        return Told(
            "live",
            "weigh",
            _("One gram less at each rim"),
            _("would make the time %(words)s by %(change)s s.") % {"words": words, "change": f"{abs(change):.3f}"},
        )

    def _honest(self) -> Told | None:
        """Whether this class could see what one gram at the rim does."""
        scatter = self.experiment.scatter
        if not isinstance(scatter, KnownScatter):
            return None
        trials = max(self.experiment.trials, 2)
        found = smallest_found(trials, trials, scatter)
        return Told(
            "care",
            "s-advice",
            _("What a hand can time"),
            _("With %(trials)d runs each, a difference is found four times in five when it is %(found)s s or more.")
            % {"trials": trials, "found": f"{found:.2f}"}
            + " "
            + _("Smaller differences are real, but this watch does not show them."),
        )


def expectation_page(assignment: Assignment, experiment: Experiment, team: Team, design: str) -> ExpectationPage:
    """The page for one team's design; the loss is from its own coast-downs, else fitted to the whole class."""
    result = queries.results(assignment, experiment)
    own = result.team(team.pk)
    assert own is not None, "a team belongs to its class"
    chosen = next((each for each in own.designs if each.design == design), own.designs[-1])
    teams = list(Team.objects.filter(school_class=assignment.school_class_id))
    wheels = physics.wheels_of_teams(assignment, teams, experiment)
    coasted = Coasting.objects.filter(assignment=assignment, team=team)
    losses = physics.coasting_losses(experiment, coasted, wheels.get(team.pk, {}))
    if isinstance(losses, Unknown):
        losses = physics.class_losses(experiment, result, wheels)
    return ExpectationPage(
        assignment, experiment, result, own, chosen, wheels.get(team.pk, {}).get(chosen.design), losses
    )
