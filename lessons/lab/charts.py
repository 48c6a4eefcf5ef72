"""The graphs of lab day, as specifications for the chart component."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment, PredictBy
from lessons.lab.results import Cell, ClassResult, DesignResult, TeamResult
from lessons.science.lines import Line, fit_line
from lessons.science.summary import Summary
from lessons.science.values import Measured
from makerlab.components.chart import MARKERS, TONES, AxisOf, Band, Chart, Curve, Dot, Label, Marker, Series

CURVE_STEPS = 12


def with_unit(experiment: Experiment, value: float, more: int = 0) -> str:
    """A measured value with its unit, in the decimals of a reading, or ``more`` of them for a difference."""
    unit = experiment.measured.unit
    return signed(value, experiment.measured.decimals + more) + (f"\u00a0{unit}" if unit else "")


def signed(value: float, decimals: int, plus: bool = False) -> str:
    """Digits with a true minus sign; what rounds to zero has no sign."""
    digits = f"{abs(value):.{decimals}f}"
    if float(digits) == 0:
        return digits
    return ("\u2212" if value < 0 else "+" if plus else "") + digits


def changed_with_unit(experiment: Experiment, value: float) -> str:
    """A value of the changed variable with its unit."""
    return f"{value:g}" + (f"\u00a0{experiment.changed.unit}" if experiment.changed.unit else "")


def axes(experiment: Experiment) -> tuple[AxisOf, AxisOf]:
    values = experiment.values
    return (
        AxisOf(experiment.changed.name, experiment.changed.unit, min(values), max(values)),
        AxisOf(experiment.measured.name, experiment.measured.unit),
    )


def along(experiment: Experiment) -> tuple[float, ...]:
    """Where what physics expects is computed to be drawn as a curve: evenly from the least value to the greatest."""
    low, high = min(experiment.values), max(experiment.values)
    return tuple(low + (high - low) * step / CURVE_STEPS for step in range(CURVE_STEPS + 1))


def mean_dot(experiment: Experiment, cell: Cell) -> Dot | None:
    """The mean of a cell; its bar is one standard error to each side, when three trials or more tell it."""
    if cell.mean is None:
        return None
    words = f"{changed_with_unit(experiment, cell.value)}: {with_unit(experiment, cell.mean)}"
    if isinstance(cell.summary, Summary):
        error = cell.summary.standard_error
        return Dot(cell.x.value, cell.mean, cell.mean - error, cell.mean + error, words)
    return Dot(cell.x.value, cell.mean, words=words)


def team_chart(
    experiment: Experiment,
    team: TeamResult,
    design: DesignResult,
    expected: Mapping[float, Measured] | None = None,
) -> Chart:
    """One team's design: single runs, means with error bars, the line, the predicted and the measured point, and the
    curve physics expects (see ``along``)."""
    x, y = axes(experiment)
    wanted = experiment.predicted
    tried = [cell for cell in design.cells if cell.value != wanted]
    runs = [Dot(cell.x.value, reading) for cell in design.cells for reading in cell.readings]
    means = [dot for dot in (mean_dot(experiment, cell) for cell in tried) if dot is not None]
    series = [Series(_("single runs"), runs, 8, Marker.FAINT), Series(_("mean and standard error"), means, 1)]
    if isinstance(design.prediction, Measured) and wanted is not None:
        at = design.cell(wanted).x.value
        words = _("predicted %(value)s") % {"value": with_unit(experiment, design.prediction.value)}
        series.append(Series(words, [Dot(at, design.prediction.value, words=words)], 1, Marker.DIAMOND, hollow=True))
    if wanted is not None and (dot := mean_dot(experiment, design.cell(wanted))) is not None:
        series.append(
            Series(_("measured %(value)s") % {"value": with_unit(experiment, dot.y)}, [dot], 2, Marker.SQUARE)
        )
    return Chart(
        title=_("%(measured)s against %(changed)s, %(team)s, %(design)s")
        % {
            "measured": experiment.measured.name,
            "changed": experiment.changed.name,
            "team": team.name,
            "design": design.label,
        },
        description=_in_words(experiment, design),
        x=x,
        y=y,
        series=[each for each in series if each.dots],
        curves=[*_line(experiment, tried, means), *_physics(expected)],
        bands=_physics_band(expected),
        squares=True,
    )


def _line(experiment: Experiment, tried: Sequence[Cell], means: Sequence[Dot]) -> list[Curve]:
    """The line a prediction is read from."""
    if experiment.predict_by is PredictBy.FITTED_LINE:
        pairs = [(cell.x.value, reading) for cell in tried for reading in cell.readings]
        line = fit_line([a for a, _b in pairs], [b for _a, b in pairs])
        if not isinstance(line, Line):
            return []
        ends = (line.lowest_x, line.highest_x)
        return [Curve(_("fitted line"), [(at, line.at(at).value) for at in ends], 1)]
    if len(means) < 2:
        return []
    return [Curve(_("straight line between means"), sorted((dot.x, dot.y) for dot in means), 1)]


def _known(expected: Mapping[float, Measured] | None) -> list[tuple[float, Measured]]:
    return sorted((expected or {}).items(), key=lambda pair: pair[0])


def _physics(expected: Mapping[float, Measured] | None) -> list[Curve]:
    points = [(at, each.value) for at, each in _known(expected)]
    return [Curve(_("expected from physics"), points, 3, "dotted")] if len(points) > 1 else []


def _physics_band(expected: Mapping[float, Measured] | None) -> list[Band]:
    points = [(at, each.interval().low, each.interval().high) for at, each in _known(expected)]
    return [Band(_("range of what is expected"), points, 3)] if len(points) > 1 else []


def _in_words(experiment: Experiment, design: DesignResult) -> str:
    told = [
        f"{changed_with_unit(experiment, cell.value)}: {with_unit(experiment, cell.mean)}"
        for cell in design.cells
        if cell.mean is not None
    ]
    if not told:
        return _("Nothing measured yet.")
    return _("Means: %(means)s. Every value is in the table.") % {"means": "; ".join(told)}


def class_chart(
    experiment: Experiment, result: ClassResult, design: str, pins: Sequence[tuple[int, float]] = ()
) -> Chart:
    """Every team one series: its means with error bars, joined. ``pins`` are teams' ids and values that get a number
    beside their point, 1 for the first; one whose team has no mean there is not drawn."""
    x, y = axes(experiment)
    series: list[Series] = []
    curves: list[Curve] = []
    for number, team in enumerate(result.teams):
        cells = team.design(design).cells
        dots = [dot for dot in (mean_dot(experiment, cell) for cell in cells) if dot is not None]
        if not dots:
            continue
        tone = number % TONES + 1
        series.append(Series(team.name, dots, tone, MARKERS[number % len(MARKERS)], hollow=number >= TONES))
        if len(dots) > 1:
            curves.append(
                Curve("", sorted((dot.x, dot.y) for dot in dots), tone, "solid" if number < TONES else "dashed")
            )
    return Chart(
        title=_("%(measured)s against %(changed)s, all teams, %(design)s")
        % {"measured": experiment.measured.name, "changed": experiment.changed.name, "design": design},
        description=_("%(count)d teams have measured. Every value is in the table.") % {"count": len(series)},
        x=x,
        y=y,
        series=series,
        curves=curves,
        labels=_numbers(result, design, pins),
    )


def _numbers(result: ClassResult, design: str, pins: Sequence[tuple[int, float]]) -> list[Label]:
    found = []
    for number, (key, value) in enumerate(pins, start=1):
        team = result.team(key)
        cells = [cell for cell in team.design(design).cells if cell.value == value] if team else []
        found += [Label(cell.x.value, cell.mean, str(number)) for cell in cells if cell.mean is not None]
    return found


def designs_chart(experiment: Experiment, team: TeamResult) -> Chart:
    """A team's designs over one another."""
    x, y = axes(experiment)
    series, curves = [], []
    for number, design in enumerate(team.all_designs):
        dots = [dot for dot in (mean_dot(experiment, cell) for cell in design.cells) if dot is not None]
        if dots:
            series.append(Series(design.label, dots, number % TONES + 1, MARKERS[number % len(MARKERS)]))
            curves.append(Curve("", sorted((dot.x, dot.y) for dot in dots), number % TONES + 1))
    return Chart(
        title=_("%(measured)s against %(changed)s, designs of %(team)s")
        % {"measured": experiment.measured.name, "changed": experiment.changed.name, "team": team.name},
        description="; ".join(f"{d.label}: {_in_words(experiment, d)}" for d in team.all_designs),
        x=x,
        y=y,
        series=series,
        curves=curves,
        squares=True,
    )


def blank_chart(experiment: Experiment) -> Chart:
    """Empty graph paper for the worksheet: the changed variable numbered, the measured one left to the team."""
    x, y = axes(experiment)
    return Chart(
        title=_("Graph paper"),
        description=_("Empty axes to draw on"),
        x=x,
        y=AxisOf(y.name, y.unit, 0, 1, unnumbered=True),
        squares=True,
    )
