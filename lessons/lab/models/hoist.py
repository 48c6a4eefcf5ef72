"""A hand-crank hoist: lifting time from what the string winds on, measured on the checked file of the drum."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.model_kinds import ModelOf
from lessons.lab.models.answer import Expected, Figure, scaled
from lessons.lab.parts import RADIUS_MM, LabPart
from lessons.lab.told import Told
from lessons.lab.units import factor
from lessons.science.hoisting import Hoist, Spool, crank_force_n, lifting_time_s, spool_of
from lessons.science.values import Measured, Unknown

TAPE_M, STRING_SHARE = 0.005, 0.1  # a tape along a wall; a string is soft (common practice, no source)


def expected(experiment: Experiment, part: LabPart, at: Mapping[float, Measured]) -> Expected:
    """Lifting time at each gear ratio."""
    assert experiment.model is not None
    spool = drum_of(part)
    if isinstance(spool, Unknown):
        return Expected(dict.fromkeys(at, spool))
    hoist = _hoist(experiment.model, spool)
    unit = factor("s", experiment.measured.unit)
    return Expected(
        {value: scaled(_told_unknown(lifting_time_s(hoist, ratio.value)), unit) for value, ratio in at.items()},
        _figures(experiment.model, spool, hoist),
        _told(experiment, hoist, sorted(at)),
        [
            _("Each turn of the drum winds up as much string as lies round it once."),
            _("So the height of the lift, over the string of one turn, is the number of turns. Gears multiply them."),
            _("A wider drum lifts faster, and is harder to turn in the same measure: work is not saved."),
        ],
        _("t = h i / (π (D + d) n)"),
        _(
            "h height, i gear ratio, D spool, d string, n turns of the crank a second. A turn winds up the circle on "
            "which the middle of the string lies: textbook mechanics (OpenStax College Physics, simple machines)."
        ),
    )


def drum_of(part: LabPart) -> Spool | Unknown:
    """The spool of a drum that stands on its flange, its axle upright."""
    outside, spin = part.facts.get("outside"), part.facts.get("spin")
    if not outside:
        return Unknown(_("the check of this file has no outside to compute with; have it measured again"))
    if not spin or not spin.get("upright"):
        return Unknown(_("the drum does not stand on its flange in the file, or its hole for the rod is not clear"))
    found = spool_of(outside["heights_mm"], outside["rounds_mm"])
    if isinstance(found, Unknown):
        return Unknown(_("no straight spool between two flanges is found on the part"))
    return found


def _hoist(model: ModelOf, spool: Spool) -> Hoist:
    return Hoist(
        Measured(model["height_m"], TAPE_M),
        Measured(model["crank_hz"], model["crank_share_u"] * model["crank_hz"]),
        Measured(spool.diameter_mm / 1000, 2 * RADIUS_MM / 1000),
        Measured(model["string_mm"] / 1000, STRING_SHARE * model["string_mm"] / 1000),
        spool.room_mm / 1000,
    )


def _told_unknown(found: Measured | Unknown) -> Measured | Unknown:
    if isinstance(found, Measured):
        return found
    return Unknown(_("the string needs more room than the spool has: it winds over itself, and the drum grows"))


def _figures(model: ModelOf, spool: Spool, hoist: Hoist) -> list[Figure]:
    own, plan = _("from the file"), _("from the lesson")
    return [
        Figure(_("spool, D"), f"{spool.diameter_mm:.1f}", "mm", own),
        Figure(_("room for the string"), f"{spool.room_mm:.0f}", "mm", own),
        Figure(_("string, d"), f"{model['string_mm']:g}", "mm", plan),
        Figure(_("height, h"), f"{model['height_m']:g}", "m", plan),
        Figure(_("beat, n"), f"{model['crank_hz']:.1f}", _("turns a second"), plan),
        Figure(_("turns of the drum"), f"{hoist.turns:.1f}", "", _("computed")),
    ]


def _told(experiment: Experiment, hoist: Hoist, ratios: list[float]) -> list[Told]:
    model = experiment.model
    assert model is not None
    if not (model["load_g"] and model["crank_mm"]):
        return []
    each = [
        _("%(force)s N at %(at)s")
        % {
            "force": f"{crank_force_n(hoist, ratio, model['load_g'] / 1000, model['crank_mm'] / 1000):.2f}",
            "at": charts.changed_with_unit(experiment, ratio),
        }
        for ratio in ratios
        if ratio > 0
    ]
    text = _("%(forces)s, without rubbing, which adds some tenths. Force times way stays the same.")
    return [Told("live", "weigh", _("At the handle"), text % {"forces": "; ".join(each)})]
