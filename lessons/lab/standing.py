"""Whose design is best, by evidence: what is ranked, each team's interval, and what the data allow to say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Best, Experiment
from lessons.lab.results import ClassResult
from lessons.lab.told import Told
from lessons.science.compare import Ranking
from lessons.science.compare import Standing as Placed
from lessons.science.summary import Group
from lessons.science.values import Measured, Unknown


@dataclass(frozen=True)
class Standing:
    """A team in the ranking. ``kind`` and ``icon`` are those of a mark."""

    team: str
    mean: str
    interval: str
    kind: str
    icon: str
    verdict: str


@dataclass(frozen=True)
class Standings:
    """The ranking of one design. ``ranked`` says what is compared; ``waiting`` names teams without three trials."""

    ranked: str
    told: Told
    rows: Sequence[Standing]
    waiting: Sequence[str]


def standings(experiment: Experiment, result: ClassResult, design: str) -> Standings:
    """Rank the teams' means at the value the experiment compares at. Nobody leads by a single run."""
    value = experiment.compared_at
    at = charts.changed_with_unit(experiment, value)
    found = result.ranking(design, value)
    names = {str(team.key): team.name for team in result.teams}
    placed = [] if isinstance(found, Unknown) else list(found.standings)
    ready = {name for name, team in ((str(t.key), t) for t in result.teams) if team.design(design).cell(value).group}
    return Standings(
        ranked=_ranked(experiment, at, design),
        told=_no_comparison(at) if isinstance(found, Unknown) else _told(experiment, found, names, at),
        rows=[_row(experiment, each, names[each.name], found) for each in placed if isinstance(found, Ranking)],
        waiting=[name for key, name in names.items() if key not in ready],
    )


def _ranked(experiment: Experiment, at: str, design: str) -> str:
    facts = {"measured": experiment.measured.name, "at": at, "design": design}
    words = (
        _("Ranked: the mean %(measured)s of the %(design)s at %(at)s, lowest first.")
        if experiment.best is Best.LOW
        else _("Ranked: the mean %(measured)s of the %(design)s at %(at)s, highest first.")
    )
    if experiment.compared_at == experiment.predicted:
        words += " " + _("It is the value that was predicted before it was tried.")
    return words % facts


def _no_comparison(at: str) -> Told:
    return Told(
        "live", "chart", _("No comparison yet"), _("Two teams with three trials at %(at)s are needed.") % {"at": at}
    )


def interval_words(experiment: Experiment, group: Group) -> str:
    """The 95 % interval of a mean: mean -+ t(n - 1) sd / sqrt(n)."""
    found = Measured(group.mean, group.standard_error, group.n - 1).interval()
    low = charts.signed(found.low, experiment.measured.decimals)
    return _("%(low)s to %(high)s") % {"low": low, "high": charts.with_unit(experiment, found.high)}


def _row(experiment: Experiment, placed: Placed, team: str, ranking: Ranking) -> Standing:
    kind, icon, verdict = "live", "minus", _("behind, shown")
    if placed is ranking.standings[0]:
        kind, icon, verdict = "care", "s-advice", _("first, but not shown best")
        if ranking.winner:
            kind, icon, verdict = "good", "s-pass", _("best, shown")
    elif not placed.behind:
        kind, icon, verdict = "care", "s-advice", _("not told apart from the first")
    mean = charts.with_unit(experiment, placed.group.mean)
    return Standing(team, mean, interval_words(experiment, placed.group), kind, icon, verdict)


def _told(experiment: Experiment, ranking: Ranking, names: dict[str, str], at: str) -> Told:
    leader = ranking.standings[0]
    facts = {
        "team": names[leader.name],
        "at": at,
        "mean": charts.with_unit(experiment, leader.group.mean),
        "word": _("lowest") if experiment.best is Best.LOW else _("highest"),
        "others": ", ".join(names[each.name] for each in ranking.standings[1:] if not each.behind),
    }
    if ranking.winner:
        return Told(
            "good", "s-pass", _("%(team)s lead, and the data show it") % facts,
            _("Their mean at %(at)s, %(mean)s, is the %(word)s, and further from the rest than trials scatter.")
            % facts,
        )  # fmt: skip
    return Told(
        "care", "s-advice", _("The data do not name a best design"),
        _("%(team)s have the %(word)s mean at %(at)s, %(mean)s, but %(others)s cannot be told apart from them.")
        % facts,
    )  # fmt: skip
