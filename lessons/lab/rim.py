"""What a gram less at the rim would do to a team's own wheel, and whether this class could see it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.told import Told
from lessons.science.compare import runs_needed, smallest_found
from lessons.science.rolling import Cart, Losses, Ramp, Run, expected_run, lighter_at_rim
from lessons.science.summary import KnownScatter
from lessons.science.values import Unknown

RIM_CHANGE_G = 1.0
LEAST_DF = 10  # a class's own scatter is trusted from so many free differences on, as for outlier questions


@dataclass(frozen=True)
class Rim:
    """Times in s of the cart as it is, with every wheel a gram lighter at its rim, and a gram lighter at its axle;
    ``inertia_g_cm2`` is what goes with the gram at the rim."""

    at: str
    before_s: float
    at_rim_s: float
    at_axle_s: float
    inertia_g_cm2: float

    @property
    def change_s(self) -> float:
        """Negative: faster."""
        return self.at_rim_s - self.before_s


def rim_of(experiment: Experiment, cart: Cart, ramp: Ramp, losses: Losses, value: float) -> Rim | Unknown:
    """Computed from the wheel's own mass, spin inertia and radius."""
    run = expected_run(cart, ramp, losses)
    if not isinstance(run, Run):
        return run
    try:
        at_rim = lighter_at_rim(cart, ramp, losses, RIM_CHANGE_G)
        at_axle = lighter_at_rim(cart, ramp, losses, RIM_CHANGE_G, 0.0)
    except ValueError:
        return Unknown(_("this wheel does not have a gram to spare at its rim"))
    for each in (at_rim, at_axle):
        if isinstance(each, Unknown):
            return each
    assert not isinstance(at_rim, Unknown)
    assert not isinstance(at_axle, Unknown)
    before, radius_cm = run.time_s.value, 100 * cart.wheel.radius_m.value
    at = charts.changed_with_unit(experiment, value)
    return Rim(at, before, before + at_rim, before + at_axle, RIM_CHANGE_G * radius_cm**2)


def rim_told(experiment: Experiment, rim: Rim | Unknown, class_scatter: KnownScatter | Unknown) -> list[Told]:
    """The change in words without a formula, and an honest word on whether timing would show it."""
    title = _("One gram less at each rim")
    if isinstance(rim, Unknown):
        return [Told("live", "weigh", title, rim.because[:1].upper() + rim.because[1:] + ".")]
    facts = {
        "at": rim.at, "before": f"{rim.before_s:.3f}", "after": f"{rim.at_rim_s:.3f}",
        "change": f"{abs(rim.change_s):.3f}", "axle": f"{abs(rim.at_axle_s - rim.before_s):.3f}",
    }  # fmt: skip
    text = (
        _("would make the run at %(at)s %(change)s s shorter, from %(before)s s to %(after)s s.")
        if rim.change_s < 0
        else _("would make the run at %(at)s %(change)s s longer, from %(before)s s to %(after)s s.")
    ) % facts
    text += (
        " " + _("Taken away at the axle, the gram would change it by %(axle)s s: only what spins costs twice.") % facts
    )
    return [Told("live", "weigh", title, text), *_seen(experiment, abs(rim.change_s), class_scatter)]


def _seen(experiment: Experiment, change_s: float, class_scatter: KnownScatter | Unknown) -> list[Told]:
    scatter = class_scatter if isinstance(class_scatter, KnownScatter) and class_scatter.df >= LEAST_DF else None
    source = _("Runs of this class scatter by %(sd)s s.")
    if scatter is None:
        scatter, source = experiment.scatter, _("A watch in a hand scatters by about %(sd)s s.")
    if scatter is None:
        return []
    trials = max(experiment.trials, 2)
    found = smallest_found(trials, trials, scatter)
    facts = {"sd": f"{scatter.sd:.2f}", "trials": trials, "found": f"{found:.2f}", "change": f"{change_s:.3f}"}
    text = source + " " + _("With %(trials)d runs each, a difference is found four times in five from %(found)s s on.")
    if change_s >= found:
        return [Told("good", "s-pass", _("This class could see it"), text % facts)]
    needed = runs_needed(change_s, scatter) if change_s > 0 else Unknown("")
    if isinstance(needed, Unknown):
        text += " " + _(
            "%(change)s s is real, but 200 runs each would not show it: compute it, or time it with a gate."
        )
    else:
        facts["needed"] = needed
        text += " " + _("%(change)s s is real, but the scatter swallows it; it would take about %(needed)d runs each.")
    return [Told("care", "s-advice", _("Too small for this class to see"), text % facts)]
