"""A lever launcher: range from mass, spin inertia, mass centre and length of the checked file of the arm."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.model_kinds import ModelOf
from lessons.lab.models.answer import BALANCE_G, Expected, Figure, plus_minus, scaled
from lessons.lab.parts import INERTIA_SHARE, MASS_SHARE, RADIUS_MM, LabPart
from lessons.lab.told import Told
from lessons.lab.units import factor
from lessons.science.launching import Arm, Ball, Launch, Launcher, expected_launch
from lessons.science.values import Measured, Unknown

TAPE_MM, CENTRE_MM = 1.0, 0.5  # a ruler; how well layers tell a mass centre (common practice, no source)


def expected(experiment: Experiment, part: LabPart, at: Mapping[float, Measured]) -> Expected:
    """Range at each arm ratio, long side over short side."""
    model = experiment.model
    assert model is not None
    arm = arm_of(part, model["cup_outside_mm"])
    if isinstance(arm, Unknown):
        return Expected(dict.fromkeys(at, arm))
    stand, unit = stand_of(model), factor("m", experiment.measured.unit)
    launches = {value: _launch(stand, arm, ratio.value) for value, ratio in at.items()}
    return Expected(
        {value: each if isinstance(each, Unknown) else scaled(each.range_m, unit) for value, each in launches.items()},
        _figures(model, arm, launches),
        _told(model, launches),
        [
            _("The weight falls and gives its energy to arm and ball. What lifts the arm itself is lost to the ball."),
            _("The ball is as many times faster than the weight as its side of the arm is longer."),
            _("With a short side the weight falls less far, so it gives less: the true line bends."),
        ],
        _("w² = 2 k g (sin start + sin stop) (M b − m a − m_arm c) / (I + M (b² + r² / 2) + m a²), v = a w"),
        _(
            "Energy of a turning body: OpenStax University Physics volume 1, section 10.4; free flight from the height "
            "of the cup: section 4.3; drag of a sphere: section 6.4. Mass, spin inertia I and mass centre c of the arm "
            "are computed from the layers of the file as printed."
        ),
    )


def arm_of(part: LabPart, cup_outside_mm: float) -> Arm | Unknown:
    """The arm about the hole it turns on; the ball lies ``cup_outside_mm`` short of its far end."""
    spin = part.facts.get("spin")
    if not spin or spin.get("centre_along_mm") is None:
        return Unknown(_("the check of this file tells no mass centre about one pivot hole; have it measured again"))
    long_mm = spin["radius_mm"] - cup_outside_mm
    if long_mm <= 0:
        return Unknown(_("the arm ends before the place where the ball would lie"))
    mass, inertia = spin["mass_g"] / 1000, spin["inertia_g_mm2"] * 1e-9
    return Arm(
        Measured(mass, MASS_SHARE * mass),
        Measured(inertia, INERTIA_SHARE * inertia),
        Measured(spin["centre_along_mm"] / 1000, CENTRE_MM / 1000),
        Measured(long_mm / 1000, RADIUS_MM / 1000),
    )


def stand_of(model: ModelOf) -> Launcher:
    return Launcher(
        Measured(model["weight_g"] / 1000, BALANCE_G / 1000),
        Ball(model["ball_g"] / 1000, model["ball_mm"] / 1000),
        Measured(model["pivot_mm"] / 1000, TAPE_MM / 1000),
        model["start_deg"],
        model["stop_deg"],
        model["weight_across_mm"] / 2000,
        Measured(model["share"], model["share_u"]),
    )


def _launch(stand: Launcher, arm: Arm, ratio: float) -> Launch | Unknown:
    if ratio <= 0:
        return Unknown(_("an arm ratio is above 0"))
    found = expected_launch(stand, arm, Measured(arm.long_m.value / ratio, RADIUS_MM / 1000))
    if isinstance(found, Unknown):
        return Unknown(_("the weight is too light, or too near the pivot, to lift the long side"))
    return found


def _figures(model: ModelOf, arm: Arm, launches: Mapping[float, Launch | Unknown]) -> list[Figure]:
    own, plan = _("from the file"), _("from the lesson")
    found = [
        Figure(_("arm, as printed"), plus_minus(_in(arm.mass_kg, 1000), 1), "g", own),
        Figure(_("its spin inertia, I"), f"{arm.inertia_kg_m2.value * 1e7:.0f}", "g cm²", own),
        Figure(_("its mass centre, c"), f"{arm.centre_m.value * 1000:.1f}", "mm", own),
        Figure(_("pivot to ball, a"), f"{arm.long_m.value * 1000:.1f}", "mm", own),
        Figure(_("weight, M"), f"{model['weight_g']:g}", "g", plan),
        Figure(_("ball, m"), f"{model['ball_g']:g}", "g", plan),
        Figure(_("energy left, k"), plus_minus(Measured(model["share"], model["share_u"]), 2), "", plan),
    ]
    fastest = max((each.speed_m_s.value for each in launches.values() if isinstance(each, Launch)), default=None)
    if fastest is not None:
        found.append(Figure(_("ball at most"), f"{fastest:.1f}", "m/s", _("computed")))
    return found


def _in(value: Measured, by: float) -> Measured:
    return Measured(value.value * by, value.uncertainty * by)


def _told(model: ModelOf, launches: Mapping[float, Launch | Unknown]) -> list[Told]:
    ranges = [each.range_m.relative for each in launches.values() if isinstance(each, Launch)]
    shares = [each for each in ranges if isinstance(each, float)]
    if not shares or not model["share_u"]:
        return []
    facts = {"k": f"{model['share']:g}", "u": f"{model['share_u']:g}", "in_100": f"{100 * max(shares):.0f}"}
    text = _(
        "Of the energy %(k)s ± %(u)s is taken to be left after rubbing and the give of the stand. It "
        "makes each range uncertain by about %(in_100)s in 100. That is alike for both arms: what differs is surer."
    )
    return [Told("live", "chart", _("How sure the ranges are"), text % facts)]
