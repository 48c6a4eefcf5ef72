"""What rolling physics expects of a team's cart, from the wheel as printed and the ramp of the plan.

Wheels are told by whoever measures them: this module knows the kit's own, the app of submissions registers a source
for those a team designed. The first design of an experiment with two or more is the kit's part, the last the team's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.results import ClassResult, TeamResult
from lessons.models import Assignment, Coasting, KitPart, Team
from lessons.models.measured import MeasuredFile
from lessons.science.rolling import (
    NO_LOSS,
    Cart,
    Losses,
    Run,
    TimedRun,
    Wheel,
    expected_run,
    losses_from_coasting,
    losses_from_runs,
    weighted_mean,
)
from lessons.science.summary import HAND_TIMING
from lessons.science.values import Measured, Unknown

# how well a print follows its drawing (common practice, no source)
MASS_SHARE, INERTIA_SHARE, RADIUS_MM = 0.03, 0.03, 0.1
REST_M = 0.01
COASTED = "the team's own coast-downs"
LOAD_G = 0.5  # a school balance (common practice, no source)


@dataclass(frozen=True, slots=True)
class LabWheel:
    """A wheel as it goes on the cart: ``name`` for people, its spin inertia from its layers.

    ``size_mm``: its box; ``hole_mm``: the hole on its axle; ``minutes``: of printing, a wheel's share of its file.
    """

    name: str
    wheel: Wheel
    size_mm: tuple[float, float, float] | None = None
    hole_mm: float | None = None
    minutes: float | None = None


Source = Callable[[Assignment, Sequence[Team]], Mapping[int, Mapping[str, LabWheel]]]
_sources: list[Source] = []


def register_wheels(source: Source) -> None:
    """Called once by an app's ``ready``: tells the wheels of teams, by team id and design name."""
    if source not in _sources:
        _sources.append(source)


def wheels_of(assignment: Assignment, team: Team, experiment: Experiment) -> dict[str, LabWheel]:
    """The wheel of each design of a team that is known."""
    return wheels_of_teams(assignment, [team], experiment)[team.pk]


def wheels_of_teams(
    assignment: Assignment, teams: Sequence[Team], experiment: Experiment
) -> dict[int, dict[str, LabWheel]]:
    """The same for several teams, by team id, in as many queries as for one."""
    kit: dict[str, LabWheel] = {}
    if len(experiment.designs) > 1:
        part = KitPart.objects.filter(plan=assignment.plan_id, redesignable=True).order_by("position", "pk").first()
        wheel = wheel_of(part, _("the kit's wheel")) if part is not None else None
        if wheel is not None:
            kit[experiment.designs[0]] = wheel
    found = {team.pk: dict(kit) for team in teams}
    for source in _sources:
        for key, own in source(assignment, teams).items():
            found[key].update(own)
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
    sides = (measured.width_mm, measured.depth_mm, measured.height_mm)
    size = None if None in sides else tuple(float(side or 0.0) for side in sides)
    minutes = measured.duration_s / 60 / max(measured.copies_in_file, 1) if measured.duration_s else None
    return LabWheel(name, wheel, cast("tuple[float, float, float] | None", size), _hole(report), minutes)


def _hole(report: Mapping[str, Any]) -> float | None:
    """The hole nearest the middle of the rim, mm."""
    holes = [hole for hole in report.get("holes") or [] if hole.get("diameter_mm")]
    holes.sort(key=lambda hole: hole.get("eccentricity_mm") or 0.0)
    return float(holes[0]["diameter_mm"]) if holes else None


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


def coasting_losses(
    experiment: Experiment, rows: Iterable[Coasting], wheels: Mapping[str, LabWheel]
) -> Losses | Unknown:
    """The loss from a team's own coast-downs, unloaded, on the wheels they were rolled on. A tape tells where a cart
    came to rest to about a centimetre (common practice, no source), a hand the time as in ``HAND_TIMING``."""
    shares = []
    for row in rows:
        known = wheels.get(row.design)
        if known is None or experiment.cart is None:
            continue
        cart = Cart(Measured(experiment.cart.body_g / 1000, LOAD_G / 1000), known.wheel, experiment.cart.wheels)
        found = losses_from_coasting([Measured(row.length_m, REST_M)], [Measured(row.time_s, HAND_TIMING.sd)], cart)
        if isinstance(found, Losses):
            shares.append(found.share)
    if not shares:
        return Unknown(_("no coast-down with a wheel that is measured"))
    mean = weighted_mean(shares)
    return mean if isinstance(mean, Unknown) else Losses(mean, COASTED)


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
