"""A wind turbine before a fan: the trend over the pitch for this blade. No volts: fan and motor are not known."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.models.answer import Expected, Figure
from lessons.lab.parts import LabPart
from lessons.lab.told import Told
from lessons.lab.units import factor
from lessons.science.turbine import Generator, plain_rotor, steady_turning
from lessons.science.values import Measured, Unknown

WINDS_M_S = (2.5, 3.5)  # of household fans (common practice, no source)


def expected(experiment: Experiment, part: LabPart, at: Mapping[float, Measured]) -> Expected:
    """No figures, and the order of the pitches."""
    model = experiment.model
    assert model is not None
    why = _("the wind of a fan and the friction of a motor are not known well enough to foretell volts")
    blade = _blade(part, model["tip_mm"])
    told, figures = [], []
    if blade is None:
        told.append(Told("live", "chart", _("No trend"), _("The blade is longer than the rotor, or is not measured.")))
    else:
        degrees = {value: pitch.value * factor(experiment.changed.unit, "deg") for value, pitch in at.items()}
        told.append(_trend(experiment, degrees, int(model["blades"]), *blade, model["tip_mm"]))
        figures = _figures(model["blades"], model["tip_mm"], *blade)
    return Expected(
        {value: Unknown(why) for value in at},
        figures,
        told,
        [
            _("Near 0 degrees the air cannot push the blades round. Far beyond the best pitch they stand in its way."),
            _("In between lies the best pitch, and for thin flat blades it is a small one."),
        ],
        _("at each radius: what the blade takes from the air = what the air loses in speed and gains in spin"),
        _(
            "Blade elements and momentum (S. A. Ning, Wind Energy 17, 2014); no rotor takes more than 16/27 of the "
            "wind's power (Betz). The blade counts as a flat plate of its file's width and length."
        ),
    )


def _blade(part: LabPart, tip_mm: float) -> tuple[float, float] | None:
    """Width and length of the blade in mm, by its box."""
    if part.size_mm is None:
        return None
    _thick, wide, long = sorted(part.size_mm)
    return (wide, long) if long < tip_mm else None


@lru_cache(maxsize=512)
def turning(pitch_deg: float, blades: int, hub_mm: float, tip_mm: float, chord_mm: float, wind_m_s: float) -> float:
    """rad/s, 0 where it does not start by itself."""
    rotor = plain_rotor(pitch_deg, blades, hub_mm / 1000, tip_mm / 1000, chord_mm / 1000)
    found = steady_turning(rotor, Generator(), wind_m_s)
    return 0.0 if isinstance(found, Unknown) else found


def _trend(
    experiment: Experiment, degrees: Mapping[float, float], blades: int, wide: float, long: float, tip: float
) -> Told:
    """Which pitch turns it fastest, where both winds agree."""
    orders = {
        tuple(sorted(degrees, key=lambda v: -turning(degrees[v], blades, tip - long, tip, wide, wind)))
        for wind in WINDS_M_S
    }
    title = _("A trend, no volts")
    if len(orders) > 1:
        text = _("With this blade the order of the pitches depends on the wind, so nothing is foretold.")
        return Told("live", "chart", title, text)
    names = ", ".join(charts.changed_with_unit(experiment, value) for value in orders.pop())
    text = _(
        "Computed for this blade in wind of 2.5 and 3.5 m/s, most volts first: %(names)s. Hold it against your means."
    )
    return Told("live", "chart", title, text % {"names": names})


def _figures(blades: float, tip: float, wide: float, long: float) -> list[Figure]:
    own, plan = _("from the file"), _("from the lesson")
    return [
        Figure(_("blade, width"), f"{wide:.1f}", "mm", own),
        Figure(_("blade, length"), f"{long:.1f}", "mm", own),
        Figure(_("blades"), f"{blades:.0f}", "", plan),
        Figure(_("axle to tip"), f"{tip:g}", "mm", plan),
    ]
