"""What rolling physics expects of a team's cart, from the wheel as printed and the ramp of the plan.

Wheels are told by whoever measures them: this module knows the kit's own, the app of submissions registers a source
for those a team designed. The first design of an experiment with two or more is the kit's part, the last the team's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.results import ClassResult, TeamResult
from lessons.models import Assignment, KitPart, Team
from lessons.models.measured import MeasuredFile
from lessons.science.rolling import NO_LOSS, Cart, Losses, Run, TimedRun, Wheel, expected_run, losses_from_runs
from lessons.science.values import Measured, Unknown

# how well a print follows its drawing (common practice, no source)
MASS_SHARE, INERTIA_SHARE, RADIUS_MM = 0.03, 0.03, 0.1
LOAD_G = 0.5  # a school balance (common practice, no source)


@dataclass(frozen=True, slots=True)
class LabWheel:
    """A wheel as it goes on the cart: ``name`` for people, its spin inertia from its layers."""

    name: str
    wheel: Wheel


Source = Callable[[Assignment, Team], Mapping[str, LabWheel]]
_sources: list[Source] = []


def register_wheels(source: Source) -> None:
    """Called once by an app's ``ready``: tells the wheels of a team by design name."""
    if source not in _sources:
        _sources.append(source)


def wheels_of(assignment: Assignment, team: Team, experiment: Experiment) -> dict[str, LabWheel]:
    """The wheel of each design that is known."""
    found: dict[str, LabWheel] = {}
    if len(experiment.designs) > 1:
        part = KitPart.objects.filter(plan=assignment.plan_id, redesignable=True).order_by("position", "pk").first()
        wheel = wheel_of(part, _("the kit's wheel")) if part is not None else None
        if wheel is not None:
            found[experiment.designs[0]] = wheel
    for source in _sources:
        found.update(source(assignment, team))
    return found


def wheel_of(measured: MeasuredFile, name: str) -> LabWheel | None:
    """The wheel of a measured file: its mass as estimated, its spin about the hole nearest its middle. None when the
    report does not tell them, or four in a file make it unclear which is which."""
    report: Mapping[str, Any] = measured.report or {}
    spin = report.get("spin")
    if not spin or not measured.mass_g:
        return None
    mass_kg = spin["mass_g"] / 1000
    inertia = spin["inertia_g_mm2"] * 1e-9
    radius = spin["radius_mm"] / 1000
    wheel = Wheel(
        Measured(mass_kg, MASS_SHARE * mass_kg),
        Measured(inertia, INERTIA_SHARE * inertia),
        Measured(radius, RADIUS_MM / 1000),
    )
    return LabWheel(name, wheel)


def cart_with(experiment: Experiment, wheel: Wheel, value: float) -> Cart | None:
    """The cart at one value of the changed variable; None when the experiment has no cart."""
    model = experiment.cart
    if model is None:
        return None
    load_g = value if model.changed_is_load else 0.0
    return Cart(Measured((model.body_g + load_g) / 1000, LOAD_G / 1000), wheel, model.wheels)


def expected_times(
    experiment: Experiment, wheel: Wheel, values: tuple[float, ...], losses: Losses = NO_LOSS
) -> dict[float, Run | Unknown]:
    """The run at each value; empty when the experiment has no ramp or no cart."""
    if experiment.ramp is None or experiment.cart is None:
        return {}
    found: dict[float, Run | Unknown] = {}
    for value in values:
        cart = cart_with(experiment, wheel, value)
        if cart is not None:
            found[value] = expected_run(cart, experiment.ramp, losses)
    return found


def class_losses(
    experiment: Experiment, result: ClassResult, wheels: Mapping[int, Mapping[str, LabWheel]]
) -> Losses | Unknown:
    """The loss that explains the class's own times: every cell with three trials is one timed run."""
    if experiment.ramp is None or experiment.cart is None:
        return Unknown(_("this experiment has no ramp and cart"))
    runs: list[TimedRun] = []
    for team in result.teams:
        runs += _timed(experiment, team, wheels.get(team.key, {}))
    return losses_from_runs(runs, experiment.ramp)


def _timed(experiment: Experiment, team: TeamResult, wheels: Mapping[str, LabWheel]) -> list[TimedRun]:
    runs = []
    for design in team.designs:
        known = wheels.get(design.design)
        if known is None:
            continue
        for cell in design.cells:
            time, cart = cell.y(), cart_with(experiment, known.wheel, cell.x.value)
            if isinstance(time, Measured) and time.uncertainty > 0 and cart is not None:
                runs.append(TimedRun(cart, time))
    return runs
