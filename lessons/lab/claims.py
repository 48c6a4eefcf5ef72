"""What a team claims in one line, and whether its readings support it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Best, Experiment
from lessons.lab.results import ClassResult, TeamResult
from lessons.lab.told import Told, gap_told
from lessons.lab.unknown import why_not
from lessons.science.compare import Comparison, Ranking
from lessons.science.lines import Line, fit_line, t_of_slope
from lessons.science.values import CONFIDENCE, Unknown


class Says(StrEnum):
    """The claims that readings can bear out or not; a team's own words stand beside them."""

    BETTER = "better"
    SAME = "same"
    HELD = "held"
    FALLS = "falls"
    RISES = "rises"
    BEST = "best"


@dataclass(frozen=True)
class Verdict:
    """Whether the data support a claim: None while they cannot say yet."""

    supported: bool | None
    why: str

    @property
    def kind(self) -> str:
        return {True: "good", False: "care", None: "live"}[self.supported]

    @property
    def icon(self) -> str:
        return {True: "s-pass", False: "s-advice", None: "s-wait"}[self.supported]

    @property
    def words(self) -> str:
        if self.supported is None:
            return _("not enough measured to say")
        return _("the data support it") if self.supported else _("the data do not support it")


def choices(experiment: Experiment) -> list[tuple[str, str]]:
    """The claims this experiment can decide, in words."""
    first, last = experiment.designs[0], experiment.designs[-1]
    facts = {
        "first": first, "last": last, "changed": experiment.changed.name, "measured": experiment.measured.name,
        "at": charts.changed_with_unit(experiment, experiment.compared_at),
        "best": _("lower") if experiment.best is Best.LOW else _("higher"),
    }  # fmt: skip
    found: list[tuple[Says, str]] = []
    if first != last:
        found.append((Says.BETTER, _("At %(at)s the %(last)s has a %(best)s %(measured)s than the %(first)s.")))
        found.append((Says.SAME, _("At %(at)s the %(last)s and the %(first)s do equally well.")))
    if experiment.predicted is not None:
        found.append((Says.HELD, _("Our prediction held.")))
    if len(experiment.values) > 1:
        found.append((Says.FALLS, _("The more %(changed)s, the lower the %(measured)s.")))
        found.append((Says.RISES, _("The more %(changed)s, the higher the %(measured)s.")))
    found.append((Says.BEST, _("Our %(last)s has the best %(measured)s of the class at %(at)s.")))
    return [(says.value, words % facts) for says, words in found]


def words_of(experiment: Experiment, says: str) -> str:
    """The claim in words; empty for none, or one this experiment does not know."""
    return dict(choices(experiment)).get(says, "")


def verdict(experiment: Experiment, result: ClassResult, team: TeamResult, says: str) -> Verdict | None:
    """Whether the readings support what a team says; None when it says nothing that they could decide."""
    if not words_of(experiment, says):
        return None
    return _JUDGES[Says(says)](experiment, result, team)


def _compared(experiment: Experiment, team: TeamResult) -> Comparison | Unknown:
    return team.compare(experiment.designs[-1], experiment.designs[0], experiment.compared_at)


def _difference(experiment: Experiment, found: Comparison) -> str:
    return _("The difference is %(difference)s, from %(low)s to %(high)s (Welch's test, 95 %% interval).") % {
        "difference": charts.with_unit(experiment, found.difference.value, more=1),
        "low": charts.with_unit(experiment, found.interval.low, more=1),
        "high": charts.with_unit(experiment, found.interval.high, more=1),
    }


def _better(experiment: Experiment, _result: ClassResult, team: TeamResult) -> Verdict:
    found = _compared(experiment, team)
    if isinstance(found, Unknown):
        return Verdict(None, _sentence(why_not(found)))
    right_way = (found.difference.value < 0) == (experiment.best is Best.LOW)
    why = _difference(experiment, found)
    if not found.told_apart:
        why += " " + _("Zero is in it, so the scatter of the runs alone could make it.")
    elif not right_way:
        why += " " + _("It goes the other way.")
    return Verdict(found.told_apart and right_way, why)


def _same(experiment: Experiment, _result: ClassResult, team: TeamResult) -> Verdict:
    """Equality is never shown by a test that finds nothing: it stays open; the interval says how much could hide."""
    found = _compared(experiment, team)
    if isinstance(found, Unknown):
        return Verdict(None, _sentence(why_not(found)))
    why = _difference(experiment, found)
    if found.told_apart:
        return Verdict(False, " ".join((why, _("Zero is not in it: they differ."))))
    hidden = _("No difference is shown, but one as large as that range could still hide.")
    return Verdict(None, f"{why} {hidden}")


def _held(experiment: Experiment, _result: ClassResult, team: TeamResult) -> Verdict:
    design = team.design(experiment.designs[-1])
    told: Told | None = gap_told(experiment, design)
    if told is None or isinstance(design.gap, Unknown):
        return Verdict(None, _("Three trials at each value beside the predicted one, and at it, are needed."))
    return Verdict(design.gap.agree, told.text)


def _slope(down: bool) -> Callable[[Experiment, ClassResult, TeamResult], Verdict]:
    def judge(experiment: Experiment, _result: ClassResult, team: TeamResult) -> Verdict:
        cells = team.design(experiment.designs[-1]).cells
        pairs = [(cell.x.value, reading) for cell in cells for reading in cell.readings]
        line = fit_line([x for x, _y in pairs], [y for _x, y in pairs])
        tested = line if isinstance(line, Unknown) else t_of_slope(line)
        if isinstance(tested, Unknown) or not isinstance(line, Line):
            return Verdict(None, _sentence(why_not(tested) if isinstance(tested, Unknown) else ""))
        low, high = line.slope_interval().low, line.slope_interval().high
        shown = tested[1] < 1 - CONFIDENCE
        right_way = (line.slope.value < 0) == down
        unit = _per(experiment)
        why = _("The fitted line changes by %(slope)s%(unit)s, from %(low)s to %(high)s (95 %% interval).") % {
            "slope": _digits(line.slope.value), "unit": unit, "low": _digits(low), "high": _digits(high),
        }  # fmt: skip
        if not shown:
            why += " " + _("Zero is in it: no change is shown.")
        elif not right_way:
            why += " " + _("It goes the other way.")
        return Verdict(shown and right_way, why)

    return judge


def _best(experiment: Experiment, result: ClassResult, team: TeamResult) -> Verdict:
    found = result.ranking(experiment.designs[-1], experiment.compared_at)
    at = charts.changed_with_unit(experiment, experiment.compared_at)
    if not isinstance(found, Ranking) or all(each.name != str(team.key) for each in found.standings):
        return Verdict(None, _("Two teams, this one among them, need three trials at %(at)s.") % {"at": at})
    if found.winner == str(team.key):
        return Verdict(True, _("All other means at %(at)s lie further away than trials scatter.") % {"at": at})
    if found.standings[0].name == str(team.key):
        return Verdict(False, _("Its mean is in front, but others cannot be told apart from it."))
    return Verdict(False, _("Another team's mean at %(at)s is in front.") % {"at": at})


def _per(experiment: Experiment) -> str:
    measured, changed = experiment.measured.unit, experiment.changed.unit
    if not measured and not changed:
        return ""
    return f"\u00a0{measured or '1'}/{changed}" if changed else f"\u00a0{measured}"


def _digits(value: float) -> str:
    return f"{value:.2g}".replace("-", "\u2212")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


_JUDGES: dict[Says, Callable[[Experiment, ClassResult, TeamResult], Verdict]] = {
    Says.BETTER: _better,
    Says.SAME: _same,
    Says.HELD: _held,
    Says.FALLS: _slope(down=True),
    Says.RISES: _slope(down=False),
    Says.BEST: _best,
}
