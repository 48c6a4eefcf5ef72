"""Lab results as files: CSV that no spreadsheet runs, and JSON."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from lessons.lab import queries
from lessons.lab.experiment import Experiment
from lessons.models import Assignment, Reading, Team

COLUMNS = (
    "team", "design", "changed", "changed_unit", "changed_measured", "trial", "measured", "measured_unit", "left_out",
    "note", "stopwatch", "measured_at", "entered_at",
)  # fmt: skip


def rows(assignment: Assignment, experiment: Experiment) -> list[dict[str, Any]]:
    """The readings that count or are left out with a reason, newest of each chain, by team, design, value and trial."""
    teams = dict(Team.objects.filter(school_class=assignment.school_class_id).values_list("pk", "name"))
    found = sorted(queries.newest_readings(assignment), key=lambda r: (r.team_id, r.design, r.changed, r.trial, r.pk))
    return [_row(reading, teams[reading.team_id], experiment) for reading in found if reading.team_id in teams]


def _row(reading: Reading, team: str, experiment: Experiment) -> dict[str, Any]:
    return {
        "team": team,
        "design": reading.design,
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
