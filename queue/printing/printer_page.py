"""What a printer's page shows: how true its estimates are, whether that changes, and how often and why it failed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count
from django.utils.translation import gettext as _

from makerlab.components.chart import AxisOf, Band, Chart, Curve, Dot, Marker, Series
from makerlab.components.figures import day_clock, hours_and_minutes
from planning.calibration import Drift, Interval
from planning.learned import Learned, Lesson
from printing.learning import lesson_of
from printing.models import Printer, Run, RunCopy
from printing.states import FailureReason, Outcome

HOUR_S = 3600.0
LINE_POINTS = 24
RUN_TONE, ASIDE_TONE, FIT_TONE, EVEN_TONE = 1, 2, 1, 3


@dataclass(frozen=True)
class RunRow:
    """One run of the table beside the plot. ``set_aside``: it fits nothing else and does not count."""

    run: Run
    estimate_s: float
    actual_s: float | None
    grams_estimate: float | None
    grams: float | None
    set_aside: bool


@dataclass(frozen=True)
class Reason:
    """How many runs and copies were lost for a reason."""

    words: str
    runs: int
    copies: int


@dataclass(frozen=True)
class DriftTold:
    """A drift in words: since which run, by how much."""

    words: str
    since: Run


@dataclass(frozen=True)
class PrinterSheet:
    """Everything on the page for one material."""

    material: str
    lesson: Lesson
    rows: Sequence[RunRow]
    time_chart: Chart | None
    grams_chart: Chart | None
    drift: DriftTold | None
    reasons: Sequence[Reason]
    hours: float
    hours_since_failure: float | None
    ended: int
    failed: int
    factor_percent: Interval
    fixed_min: Interval


def ended_runs_of(printer: Printer) -> list[Run]:
    """All that ended on it, for its sheet and for the hours since its upkeep."""
    return list(Run.objects.filter(printer=printer, ended_at__isnull=False).select_related("plate"))


def sheet_of(printer: Printer, material: str, learned: Learned, ended: Sequence[Run]) -> PrinterSheet:
    """The sheet of a printer with a material, from no more than the newest runs on record; ``ended``: all of its."""
    lesson = lesson_of(learned, printer, material)
    ids = [run.run_id for run in lesson.runs]
    runs = {run.pk: run for run in ended}
    rows = _rows(lesson, runs)
    calibration = lesson.calibration
    hours, since = _hours(lesson, runs)
    return PrinterSheet(
        material=material,
        lesson=lesson,
        rows=rows[::-1],
        time_chart=_time_chart(printer, lesson, [row for row in rows if row.actual_s]),
        grams_chart=_grams_chart(printer, lesson, [row for row in rows if row.grams]),
        drift=_drift(lesson, rows),
        reasons=_reasons(ids),
        hours=hours,
        hours_since_failure=since,
        ended=len(lesson.runs),
        failed=sum(run.tally.failed for run in lesson.runs),
        factor_percent=Interval(*(100 * end for end in calibration.factor_interval)),
        fixed_min=Interval(*(end / 60 for end in calibration.fixed_interval_s)),
    )


def _rows(lesson: Lesson, runs: dict[int, Run]) -> list[RunRow]:
    """The runs that taught something, oldest first."""
    aside = set(lesson.calibration.set_aside)
    rows = []
    for place, record in enumerate(lesson.finished):
        told = record.finished
        assert told is not None, "finished runs have what they teach"
        rows.append(
            RunRow(runs[record.run_id], told.estimate_s, told.actual_s, told.estimate_g, told.actual_g, place in aside)
        )
    return rows


def _time_chart(printer: Printer, lesson: Lesson, rows: Sequence[RunRow]) -> Chart | None:
    if not rows:
        return None
    longest = max(row.estimate_s for row in rows) * 1.05
    corrected = [(x, lesson.calibration.duration(x)) for x in _along(longest)]

    def dots(aside: bool) -> list[Dot]:
        return [
            Dot(row.estimate_s / HOUR_S, (row.actual_s or 0) / HOUR_S, words=_dot_words(row))
            for row in rows
            if row.set_aside == aside
        ]

    series = [Series(_("one run"), dots(False), RUN_TONE)]
    if aside := dots(True):
        series.append(Series(_("set aside, does not count"), aside, ASIDE_TONE, Marker.CROSS))
    return Chart(
        title=_("%(printer)s: estimated and actual time") % {"printer": printer},
        description=_time_words(lesson),
        x=AxisOf(_("estimate"), "h", low=0.0),
        y=AxisOf(_("actual"), "h", low=0.0),
        series=series,
        curves=[
            Curve(_("what is expected"), [(x / HOUR_S, c.mean / HOUR_S) for x, c in corrected], FIT_TONE),
            Curve(_("as estimated"), [(0.0, 0.0), (longest / HOUR_S, longest / HOUR_S)], EVEN_TONE, "dashed"),
        ],
        bands=[
            Band(
                _("nine of ten runs"),
                [(x / HOUR_S, c.run.low / HOUR_S, c.run.high / HOUR_S) for x, c in corrected],
                FIT_TONE,
            )
        ],
    )


def _grams_chart(printer: Printer, lesson: Lesson, rows: Sequence[RunRow]) -> Chart | None:
    if not rows:
        return None
    most = max(row.grams_estimate or 0.0 for row in rows) * 1.05
    corrected = [
        (most * k / LINE_POINTS, lesson.calibration.grams(most * k / LINE_POINTS)) for k in range(LINE_POINTS + 1)
    ]
    return Chart(
        title=_("%(printer)s: estimated and weighed grams") % {"printer": printer},
        description=_("%(count)d weighed runs; each gram of the estimate is %(factor).2f g on the scale.")
        % {"count": len(rows), "factor": lesson.calibration.grams_factor},
        x=AxisOf(_("estimate"), "g", low=0.0),
        y=AxisOf(_("weighed"), "g", low=0.0),
        series=[Series(_("one run"), [Dot(row.grams_estimate or 0.0, row.grams or 0.0) for row in rows], RUN_TONE)],
        curves=[
            Curve(_("what is expected"), [(x, c.mean) for x, c in corrected], FIT_TONE),
            Curve(_("as estimated"), [(0.0, 0.0), (most, most)], EVEN_TONE, "dashed"),
        ],
        bands=[Band(_("nine of ten runs"), [(x, c.run.low, c.run.high) for x, c in corrected], FIT_TONE)],
    )


def _along(end: float) -> list[float]:
    return [end * k / LINE_POINTS for k in range(LINE_POINTS + 1)]


def _dot_words(row: RunRow) -> str:
    return _("%(plate)s: estimated %(estimate)s, took %(actual)s") % {
        "plate": row.run.plate,
        "estimate": hours_and_minutes(row.estimate_s),
        "actual": hours_and_minutes(row.actual_s),
    }


def _time_words(lesson: Lesson) -> str:
    found = lesson.calibration
    return _(
        "%(count)d runs; each estimated hour takes %(minutes).0f minutes, and %(fixed).0f minutes come on top."
    ) % {
        "count": found.runs,
        "minutes": 60 * found.factor,
        "fixed": found.fixed_s / 60,
    }


def _drift(lesson: Lesson, rows: Sequence[RunRow]) -> DriftTold | None:
    found: Drift | None = lesson.drift
    if found is None:
        return None
    since = rows[found.since_run].run
    share = round(100 * abs(found.share))
    words = (
        _("Since %(when)s its prints take about %(share)d %% longer than its runs before had shown.")
        if found.share > 0
        else _("Since %(when)s its prints take about %(share)d %% less time than its runs before had shown.")
    )
    return DriftTold(words % {"when": day_clock(since.started_at), "share": share}, since)


def _reasons(run_ids: Sequence[int]) -> list[Reason]:
    """Why copies were lost, the reason with most runs first."""
    counted = (
        RunCopy.objects.filter(run__in=run_ids, good=False)
        .values("reason")
        .annotate(runs=Count("run", distinct=True), copies=Count("pk"))
        .order_by("-runs", "-copies")
    )
    return [Reason(str(FailureReason(row["reason"]).label), row["runs"], row["copies"]) for row in counted]


def _hours(lesson: Lesson, runs: dict[int, Run]) -> tuple[float, float | None]:
    """Hours printed on record, and since the last failed run; None when none failed."""
    since: float | None = None
    total = 0.0
    for record in lesson.runs:
        total += record.tally.hours
        if runs[record.run_id].outcome == Outcome.FAILED:
            since = 0.0
        elif since is not None:
            since += record.tally.hours
    return total, since
