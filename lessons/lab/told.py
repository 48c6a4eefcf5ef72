"""Results in words: one value of the changed variable as a row, and whether a prediction held."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.lab.results import Cell, ClassResult, DesignResult, Entry
from lessons.science.compare import Gap, smallest_found
from lessons.science.summary import HAND_TIMING, RangeOnly, Summary
from lessons.science.values import Measured, Unknown
from makerlab.components.figures import NO_BREAK


@dataclass(frozen=True)
class Told:
    """A banner: kind as {% banner %} takes it, a title and a sentence."""

    kind: str
    icon: str
    title: str
    text: str


@dataclass(frozen=True)
class CellView:
    """One value of the changed variable for the table."""

    experiment: Experiment
    cell: Cell

    @property
    def label(self) -> str:
        return charts.changed_with_unit(self.experiment, self.cell.value)

    @property
    def times(self) -> str:
        """The readings that count, as people write them down."""
        decimals = self.experiment.measured.decimals
        return ", ".join(f"{reading:.{decimals}f}" for reading in self.cell.readings) or "–"

    @property
    def mean(self) -> str:
        """Mean and standard error; below three trials the range, and said so."""
        if isinstance(self.cell.summary, Summary):
            decimals = self.experiment.measured.decimals
            unit = self.experiment.measured.unit
            # equal readings leave the steps of the instrument
            error = (
                self.cell.summary.standard_error
                or self.cell.summary.measured(self.experiment.measured.resolution).uncertainty
            )
            digits = decimals if error == 0 or round(error, decimals) > 0 else decimals + 1
            mean = f"{self.cell.summary.mean:.{digits}f} ± {error:.{digits}f}"
            return mean.replace(" ", NO_BREAK) + (NO_BREAK + unit if unit else "")
        if isinstance(self.cell.summary, RangeOnly):
            low, high = (charts.with_unit(self.experiment, v) for v in (self.cell.summary.low, self.cell.summary.high))
            return low if low == high else _("from %(low)s to %(high)s") % {"low": low, "high": high}
        return "–"

    @property
    def odd(self) -> Entry | None:
        """The reading the question is about; None when it is about all of them, or there is none."""
        question = self.cell.question
        if question is None or question.index is None:
            return None
        return [entry for entry in self.cell.entries if entry.counts][question.index]


def gap_told(experiment: Experiment, design: DesignResult) -> Told | None:
    """Whether the prediction held, in words."""
    gap = design.gap
    if not isinstance(gap, Gap) or not isinstance(design.prediction, Measured) or experiment.predicted is None:
        return None
    mean = design.cell(experiment.predicted).mean
    percent = (
        f"{charts.signed(gap.percent.value, 1, plus=True)}{NO_BREAK}%" if isinstance(gap.percent, Measured) else "–"
    )
    facts = {
        "predicted": charts.with_unit(experiment, design.prediction.value),
        "measured": charts.with_unit(experiment, mean or 0.0),
        "percent": percent,
        "low": charts.with_unit(experiment, gap.interval.low, more=1),
        "high": charts.with_unit(experiment, gap.interval.high, more=1),
    }
    if gap.agree:
        return Told(
            "good",
            "s-pass",
            _("The prediction holds"),
            _(
                "Predicted %(predicted)s, measured %(measured)s: %(percent)s. The difference may lie from %(low)s to "
                "%(high)s (95 of 100 such ranges hold the true one), and zero is in it."
            )
            % facts,
        )
    return Told(
        "care",
        "s-advice",
        _("The prediction is off"),
        _(
            "Predicted %(predicted)s, measured %(measured)s: %(percent)s. The difference lies from %(low)s to "
            "%(high)s, and zero is not in it. The true line may bend, or something changed between the runs."
        )
        % facts,
    )


def class_told(experiment: Experiment, result: ClassResult) -> Told | None:
    """The smallest difference this class can tell from scatter, in words; None while its scatter is unknown."""
    smallest = result.smallest_difference()
    if isinstance(smallest, Unknown) or isinstance(result.scatter, Unknown):
        return None
    text = _(
        "Repeated trials of this class scatter by %(sd)s. With %(trials)d trials each, two designs must differ by "
        "about %(smallest)s to be told apart; a true difference is found four times in five from %(found)s on."
    ) % {
        "found": charts.with_unit(
            experiment, smallest_found(experiment.trials, experiment.trials, result.scatter), more=1
        ),
        "sd": charts.with_unit(experiment, result.scatter.sd, more=1),
        "trials": experiment.trials,
        "smallest": charts.with_unit(experiment, smallest, more=1),
    }
    if experiment.is_timed:
        text += " " + _("Timing by hand alone scatters by about %(sd)s s (%(source)s).") % {
            "sd": f"{HAND_TIMING.sd:.2f}",
            "source": HAND_TIMING.source,
        }
    return Told("live", "ruler", _("What this class can tell"), text)
