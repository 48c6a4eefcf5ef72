"""What rolling physics expects of a team's cart, from the wheel as printed and the ramp of the plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.parts import LabPart
from lessons.lab.results import ClassResult, TeamResult
from lessons.models import Coasting
from lessons.science.coasting import (
    loss_share,
    losses_from_coasting,
    slowing_between_marks,
    slowing_from_speed,
    slowing_to_rest,
)
from lessons.science.rolling import (
    NO_LOSS,
    Cart,
    Losses,
    Run,
    TimedRun,
    Wheel,
    expected_run,
    losses_from_runs,
)
from lessons.science.summary import HAND_TIMING
from lessons.science.values import Measured, Unknown

# a tape tells where a cart rests, and how far apart two marks are; a light gate or a film tells a speed (common
# practice, no source)
REST_M, MARKS_M, SPEED_SHARE = 0.01, 0.002, 0.03
COASTED = "the team's own coast-downs"
LOAD_G = 0.5  # a school balance (common practice, no source)


def wheel_in(parts: Mapping[str, LabPart], design: str) -> Wheel | None:
    """The wheel of a design; None while it is not measured, or is none."""
    known = parts.get(design)
    return known.wheel if known is not None else None


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


def times_of(runs: Mapping[float, Run | Unknown]) -> dict[float, Measured]:
    """The times of those runs that can be computed."""
    return {value: run.time_s for value, run in runs.items() if isinstance(run, Run)}


def class_losses(
    experiment: Experiment, result: ClassResult, parts: Mapping[int, Mapping[str, LabPart]]
) -> Losses | Unknown:
    """The loss that explains the class's own times: every cell with three trials is one timed run."""
    if experiment.ramp is None or experiment.cart is None:
        return Unknown(_("this experiment has no ramp and cart"))
    runs: list[TimedRun] = []
    for team in result.teams:
        runs += _timed(experiment, team, parts.get(team.key, {}))
    return losses_from_runs(runs, experiment.ramp)


def coasting_losses(experiment: Experiment, rows: Iterable[Coasting], parts: Mapping[str, LabPart]) -> Losses | Unknown:
    """The loss from a team's own coast-downs, unloaded, on the wheels they were rolled on."""
    shares = [share for row in rows if (share := share_of(experiment, row, parts)) is not None]
    if not shares:
        return Unknown(_("no coast-down with a wheel that is measured"))
    return losses_from_coasting(shares, COASTED)


def share_of(experiment: Experiment, row: Coasting, parts: Mapping[str, LabPart]) -> Measured | None:
    """The share of the weight one coast-down tells; None while its wheels are not measured."""
    wheel = wheel_in(parts, row.design)
    if wheel is None or experiment.cart is None:
        return None
    cart = Cart(Measured(experiment.cart.body_g / 1000, LOAD_G / 1000), wheel, experiment.cart.wheels)
    return loss_share(slowing_of(row), cart)


def slowing_of(row: Coasting) -> Measured:
    """How the cart slowed, m/s2. A hand tells a time as in ``HAND_TIMING``."""
    way = Measured(row.length_m, REST_M)
    if row.speed_m_s is not None:
        return slowing_from_speed(Measured(row.speed_m_s, SPEED_SHARE * row.speed_m_s), way)
    assert row.time_s is not None, "a coast-down without a speed has a time"
    time = Measured(row.time_s, HAND_TIMING.sd)
    if row.marks_m is not None:
        return slowing_between_marks(Measured(row.marks_m, MARKS_M), time, way)
    return slowing_to_rest(way, time)


def _timed(experiment: Experiment, team: TeamResult, parts: Mapping[str, LabPart]) -> list[TimedRun]:
    runs = []
    for design in team.all_designs:
        wheel = wheel_in(parts, design.design)
        if wheel is None:
            continue
        for cell in design.cells:
            time, cart = cell.y(), cart_with(experiment, wheel, cell.x.value)
            if isinstance(time, Measured) and time.uncertainty > 0 and cart is not None:
                runs.append(TimedRun(cart, time))
    return runs
