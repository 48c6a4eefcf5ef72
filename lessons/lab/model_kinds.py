"""The models an experiment may name, and the constants each asks the teacher for, as data.

What a model needs beside these comes from the checked file of the part and from the experiment's own values. Ramp and
cart of the rolling model have fields of their own in the experiment (``cart``, ``track_length_m``, ``track_rise_m``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Words = str | Promise


class ModelKind(StrEnum):
    """``key`` of ``content["experiment"]["model"]["kind"]``."""

    ROLLING = "rolling"
    HULL = "hull"
    LAUNCHER = "launcher"
    HOIST = "hoist"
    TURBINE = "turbine"


@dataclass(frozen=True, slots=True)
class Constant:
    """A figure the teacher gives. ``label`` has its unit; ``default``: taken where the field is empty, None: needed."""

    name: str
    label: Words
    low: float
    high: float
    default: float | None = None
    hint: Words = ""
    whole: bool = False


@dataclass(frozen=True, slots=True)
class ModelAbout:
    """What a model is called and needs. ``changed`` and ``measured``: a unit those variables must convert to; "" for a
    bare number, None for any."""

    kind: ModelKind
    label: Words
    hint: Words
    changed: str | None
    measured: str | None
    constants: tuple[Constant, ...] = ()


ABOUT: Mapping[ModelKind, ModelAbout] = {
    about.kind: about
    for about in (
        ModelAbout(
            ModelKind.ROLLING,
            _("a cart rolling down a ramp"),
            _("Mass and spin inertia of the wheel come from its checked file."),
            None,
            "s",
        ),
        ModelAbout(
            ModelKind.HULL,
            _("a hull floating in water"),
            _("What the hull pushes away at each depth and its mass come from its checked file, as it stands there."),
            "g",
            "mm",
            (
                Constant("mast_g", _("Mast and all else that stays aboard, g"), 0, 1000, 0),
                Constant(
                    "water_g_per_cm3",
                    _("Density of the water, g/cm³"),
                    0.9,
                    1.3,
                    0.998,
                    _("empty: 0.998, fresh water at 20 °C"),
                ),
            ),
        ),
        ModelAbout(
            ModelKind.LAUNCHER,
            _("a lever throwing a ball"),
            _("Mass, spin inertia, mass centre and length of the arm come from its checked file."),
            "",
            "m",
            (
                Constant("weight_g", _("Falling weight, g"), 1, 5000),
                Constant("weight_across_mm", _("Across the weight, mm"), 0, 300, 0, _("0 for a small one")),
                Constant("ball_g", _("Ball, g"), 0.1, 500),
                Constant("ball_mm", _("Across the ball, mm"), 1, 200),
                Constant("pivot_mm", _("Pivot above the floor, mm"), 1, 2000),
                Constant("start_deg", _("Arm below the level at the start, degrees"), 0, 89),
                Constant("stop_deg", _("Arm above the level at the stop, degrees"), 0, 89),
                Constant(
                    "cup_outside_mm",
                    _("From the ball’s middle to the far end of the arm, mm"),
                    0,
                    200,
                    hint=_("so the file tells where the ball lies"),
                ),
                Constant(
                    "share", _("Share of the energy that is left"), 0.05, 1, 1, _("1: nothing is lost to rubbing")
                ),
                Constant("share_u", _("Uncertainty of that share"), 0, 0.5, 0),
            ),
        ),
        ModelAbout(
            ModelKind.HOIST,
            _("a drum winding up a load"),
            _("What the string winds on comes from the checked file of the drum, standing on its flange."),
            "",
            "s",
            (
                Constant("height_m", _("Height of the lift, m"), 0.01, 20),
                Constant("crank_hz", _("Turns of the crank a second"), 0.05, 20),
                Constant("crank_share_u", _("How well that beat is kept, as a share"), 0, 0.5, 0.03),
                Constant("string_mm", _("Thickness of the string, mm"), 0.05, 10),
                Constant("load_g", _("Load, g"), 0, 20000, 0, _("only for the force at the handle")),
                Constant("crank_mm", _("Handle from the axle, mm"), 0, 500, 0, _("only for the force at the handle")),
            ),
        ),
        ModelAbout(
            ModelKind.TURBINE,
            _("a wind turbine before a fan"),
            _("A trend only: no figure holds for every fan and motor."),
            "deg",
            None,
            (
                Constant("blades", _("Blades"), 1, 12, whole=True),
                Constant("tip_mm", _("From the axle to the tip of a blade, mm"), 10, 1000),
            ),
        ),
    )
}


@dataclass(frozen=True)
class ModelOf:
    """The model an experiment names, with all of its constants."""

    kind: ModelKind
    values: Mapping[str, float]

    def __getitem__(self, name: str) -> float:
        return self.values[name]
