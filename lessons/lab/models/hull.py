"""A hull in water: freeboard from the outside of the checked file, its mass as printed, mast and load."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.models.answer import BALANCE_G, Expected, Figure, mass_of, plus_minus, scaled
from lessons.lab.parts import RADIUS_MM, LabPart
from lessons.lab.told import Told
from lessons.lab.units import factor
from lessons.science.floating import Displacement, displacement, edge_of
from lessons.science.values import Measured, Unknown, propagated

OPEN_MM2 = 2.0  # a smaller opening in the underside is the rounding of the section
WATER_U = 0.002  # between 10 and 25 degrees C fresh water is 0.9997 to 0.997 g/cm3; common table, from memory


def expected(experiment: Experiment, part: LabPart, at: Mapping[float, Measured]) -> Expected:
    """Freeboard at each load."""
    assert experiment.model is not None
    water = float_of(part, experiment.model["water_g_per_cm3"])
    if isinstance(water, Unknown):
        return Expected(dict.fromkeys(at, water))
    grams, length = factor(experiment.changed.unit, "g"), factor("mm", experiment.measured.unit)
    values = {
        value: scaled(_freeboard(experiment, part, water, scaled_load(load, grams)), length)
        for value, load in at.items()
    }
    return Expected(
        values,
        _figures(experiment, part, water),
        _told(experiment, part, water),
        _simple(),
        _("volume under water = (hull + mast + load) / density of water; freeboard = height − depth of that volume"),
        _(
            "Archimedes’ principle: OpenStax University Physics volume 1, section 14.4. The volume at each depth is "
            "computed from the outside of the file as it lies there. The hull is taken to be tight and to float level."
        ),
    )


def scaled_load(load: Measured, grams: float) -> Measured:
    """In g, no better known than a school balance tells."""
    return Measured(load.value * grams, max(load.uncertainty * grams, BALANCE_G if load.value else 0.0))


def float_of(part: LabPart, water_g_per_cm3: float) -> Displacement | Unknown:
    """What the part pushes away up to the edge over which water would come in."""
    outside = part.facts.get("outside")
    if not outside:
        return Unknown(_("the check of this file has no outside to compute with; have it measured again"))
    if outside["open_below_mm2"] > OPEN_MM2:
        return Unknown(_("as the file lies, the part is open on its underside: water gets in there, or air is caught"))
    last = edge_of(outside["areas_mm2"]) + 1
    return displacement(outside["heights_mm"][:last], outside["areas_mm2"][:last], water_g_per_cm3)


def _freeboard(experiment: Experiment, part: LabPart, water: Displacement, load_g: Measured) -> Measured | Unknown:
    """In mm."""
    assert experiment.model is not None
    inputs = [mass_of(part), _mast(experiment), load_g, Measured(0.0, _skin(part)), Measured(1.0, WATER_U)]

    def freeboard(hull: float, mast: float, load: float, skin: float, density: float) -> float:
        found = water.freeboard_mm((hull + mast + load) / ((1 + skin) * density))
        if isinstance(found, Unknown):
            raise ValueError(found.because)
        return found

    plain = water.freeboard_mm(sum(each.value for each in inputs[:3]))
    if isinstance(plain, Unknown):
        return Unknown(_("it sinks: hull and load weigh more than the water it can push away"))
    try:
        return propagated(freeboard, inputs)
    except ValueError:
        return Unknown(_("its edge is at the water: a gram decides whether it sinks"))


def _mast(experiment: Experiment) -> Measured:
    assert experiment.model is not None
    mast = experiment.model["mast_g"]
    return Measured(mast, BALANCE_G if mast else 0.0)


def _skin(part: LabPart) -> float:
    """Share of the volume that walls a print's tolerance further out or in make."""
    if part.size_mm is None:
        return 0.0
    return 2 * RADIUS_MM * (1 / part.size_mm[0] + 1 / part.size_mm[1])


def load_before_sinking(experiment: Experiment, part: LabPart, water: Displacement) -> Measured:
    """In g."""
    hull, mast = mass_of(part), _mast(experiment)
    inputs = [hull, mast, Measured(0.0, _skin(part)), Measured(1.0, WATER_U)]
    return propagated(lambda h, m, skin, w: water.capacity_g() * (1 + skin) * w - h - m, inputs)


def _figures(experiment: Experiment, part: LabPart, water: Displacement) -> list[Figure]:
    assert experiment.model is not None
    own, plan = _("from the file"), _("from the lesson")
    return [
        Figure(_("hull, as printed"), plus_minus(mass_of(part), 1), "g", own),
        Figure(_("mast"), f"{experiment.model['mast_g']:g}", "g", plan),
        Figure(_("height up to the edge"), f"{water.depth_mm:.1f}", "mm", own),
        Figure(_("water it can push away"), f"{water.volumes_mm3[-1] / 1000:.1f}", "cm³", own),
        Figure(_("density of the water"), f"{water.water_g_per_cm3:.3f}", "g/cm³", plan),
    ]


def _told(experiment: Experiment, part: LabPart, water: Displacement) -> list[Told]:
    most = load_before_sinking(experiment, part, water)
    if most.value <= 0:
        return [
            Told("care", "s-advice", _("It does not float"), _("The hull alone weighs more than it can push away."))
        ]
    text = _(
        "The load that puts the edge at the water, level and in still water. A hull that leans goes under earlier."
    )
    told = [Told("live", "weigh", _("It carries up to about %(most)s g") % {"most": plus_minus(most, 0)}, text)]
    load = max(experiment.values) * factor(experiment.changed.unit, "g")
    mast = experiment.model["mast_g"] if experiment.model else 0.0
    pair = [water.freeboard_mm(part.mass_g + mast + load - less) for less in (0.0, 1.0)]
    if isinstance(pair[0], float) and isinstance(pair[1], float):
        facts = {
            "at": charts.changed_with_unit(experiment, max(experiment.values)),
            "more": f"{pair[1] - pair[0]:.2f}",
        }
        words = _(
            "would lift the edge by %(more)s mm at %(at)s. A millimetre more height lifts it by nearly a millimetre."
        )
        told.append(Told("live", "weigh", _("One gram of plastic less"), words % facts))
    return told


def _simple() -> list[str]:
    return [
        _("The hull goes down until the water it pushes away weighs as much as hull, mast and load together."),
        _(
            "A gram of water takes about one cubic centimetre. So 80 g more push 80 cm³ more away, and the wider the "
            "hull is at the water, the less deep it goes for that."
        ),
        _("Where sides or ends lean out the hull gets wider as it goes down, so the true line bends."),
    ]
