"""Lab results as files: CSV that no spreadsheet runs, and JSON."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

from lessons.lab import physics, queries
from lessons.lab.expectation import losses_of_teams
from lessons.lab.experiment import Experiment
from lessons.lab.model_page import expected_of
from lessons.lab.models import has_model
from lessons.lab.parts import LabPart, as_measured, parts_of_teams
from lessons.lab.results import DesignResult
from lessons.models import Assignment, Coasting, Reading, Team
from lessons.science.rolling import Losses, Run
from lessons.science.values import Measured, Unknown

COLUMNS = (
    "kind", "team", "design", "version", "changed", "changed_unit", "changed_measured", "trial", "measured",
    "measured_unit", "left_out", "note", "stopwatch", "measured_at", "entered_at", "way_to_rest_m", "time_s",
    "between_marks_m", "speed_at_mark_m_s", "loss_share", "loss_share_uncertainty", "expected", "expected_uncertainty",
    "unknown_because",
)  # fmt: skip


def rows(assignment: Assignment, experiment: Experiment) -> list[dict[str, Any]]:
    """The readings that count or are left out with a reason, newest of each chain, by team, design, value and trial."""
    teams = dict(Team.objects.filter(school_class=assignment.school_class_id).values_list("pk", "name"))
    found = sorted(queries.newest_readings(assignment), key=lambda r: (r.team_id, r.design, r.changed, r.trial, r.pk))
    return [_row(reading, teams[reading.team_id], experiment) for reading in found if reading.team_id in teams]


def _row(reading: Reading, team: str, experiment: Experiment) -> dict[str, Any]:
    return {
        "kind": "reading",
        "team": team,
        "design": reading.design,
        "version": reading.version,
        "changed": reading.changed,
        "changed_unit": experiment.changed.unit,
        "changed_measured": reading.changed_measured,
        "trial": reading.trial,
        "measured": reading.measured,
        "measured_unit": experiment.measured.unit,
        "left_out": reading.is_left_out,
        "note": reading.note,
        "stopwatch": reading.stopwatch,
        "measured_at": reading.measured_at.isoformat(),
        "entered_at": reading.entered_at.isoformat(),
    }


def coast_rows(assignment: Assignment, experiment: Experiment) -> list[dict[str, Any]]:
    """The coast-downs of the class in the order they were rolled, each with the share of the weight it tells (empty
    while its wheels are not measured)."""
    found = list(Coasting.objects.filter(assignment=assignment).select_related("team").order_by("team__number", "pk"))
    if not found:
        return []
    teams = list({row.team_id: row.team for row in found}.values())
    parts = parts_of_teams(assignment, teams, experiment)
    return [_coast_row(row, physics.share_of(experiment, row, parts[row.team_id])) for row in found]


def _coast_row(row: Coasting, share: Measured | None) -> dict[str, Any]:
    return {
        "kind": "coast-down",
        "team": row.team.name,
        "design": row.design,
        "way_to_rest_m": row.length_m,
        "time_s": row.time_s,
        "between_marks_m": row.marks_m,
        "speed_at_mark_m_s": row.speed_m_s,
        "loss_share": None if share is None else float(f"{share.value:.4g}"),
        "loss_share_uncertainty": None if share is None else float(f"{share.uncertainty:.2g}"),
        "entered_at": row.entered_at.isoformat(),
    }


def expected_rows(assignment: Assignment, experiment: Experiment) -> list[dict[str, Any]]:
    """What physics expects of each design of each team at each value, as the pages show it; a design whose part is not
    measured has no row, a value that cannot be computed says why."""
    if not has_model(experiment):
        return []
    result, teams = queries.results(assignment, experiment), queries.teams_of(assignment)
    known = parts_of_teams(assignment, teams, experiment)
    parts = {each.key: as_measured(known.get(each.key, {}), each) for each in result.teams}
    coasted = Coasting.objects.filter(assignment=assignment)
    losses = losses_of_teams(experiment, result, parts, coasted)
    return [
        _expected_row(experiment, team.name, design, value, each)
        for team in result.teams
        for design in team.all_designs
        if design.design in parts[team.key]
        for value, each in _expected(experiment, design, parts[team.key], losses[team.key]).items()
    ]


def _expected(
    experiment: Experiment, design: DesignResult, parts: Mapping[str, LabPart], losses: Losses
) -> Mapping[float, Measured | Unknown]:
    if experiment.cart is None:
        return expected_of(experiment, design, parts).values
    wheel = physics.wheel_in(parts, design.design)
    if wheel is None:
        return {}
    runs = physics.expected_times(experiment, wheel, experiment.values, losses)
    return {value: run.time_s if isinstance(run, Run) else run for value, run in runs.items()}


def _expected_row(
    experiment: Experiment, team: str, design: DesignResult, value: float, expected: Measured | Unknown
) -> dict[str, Any]:
    return {
        "kind": "expected",
        "team": team,
        "design": design.design,
        "version": design.version,
        "changed": value,
        "changed_unit": experiment.changed.unit,
        "measured_unit": experiment.measured.unit,
        "expected": float(f"{expected.value:.5g}") if isinstance(expected, Measured) else None,
        "expected_uncertainty": float(f"{expected.uncertainty:.2g}") if isinstance(expected, Measured) else None,
        "unknown_because": expected.because if isinstance(expected, Unknown) else None,
    }


def as_csv(found: Iterable[dict[str, Any]]) -> str:
    """RFC 4180 text with a head. Text a spreadsheet would take for a formula begins with an apostrophe."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in found:
        writer.writerow({name: guarded(value) for name, value in row.items()})
    return out.getvalue()


def guarded(value: Any) -> Any:
    """Text that begins with = + - @ or a control character is no formula any more (OWASP, CSV injection)."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r", "\n"):
        return "'" + value
    return value
