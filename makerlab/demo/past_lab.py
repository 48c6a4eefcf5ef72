"""The lab day of the invented club that is over: what its teams timed, claimed, and how they were marked."""

from __future__ import annotations

import json
import uuid
from datetime import datetime, timedelta
from typing import Any

from lessons.models import Argument, Assignment, Coasting, LabBoard, Mark, Reading, Team
from makerlab.accounts.models import User
from makerlab.demo import fixtures


def write_lab(assignment: Assignment, teacher: User) -> int:
    """Everything of demo_fixtures/lab.json; returns how many readings."""
    told: dict[str, Any] = json.loads((fixtures.FOLDER / "lab.json").read_text("utf-8"))
    teams = {str(team.number): team for team in Team.objects.filter(school_class=assignment.school_class_id)}
    begins: datetime = assignment.meeting.starts_at
    readings = [
        reading for number, designs in told["readings"].items()
        for reading in _readings(assignment, teams[number], designs, told, begins)
    ]  # fmt: skip
    Reading.objects.bulk_create(readings)
    Coasting.objects.bulk_create(
        Coasting(assignment=assignment, team=teams[number], design="starting wheel", length_m=way, time_s=time)
        for number, rows in told["coast_downs"].items()
        for way, time in rows
    )
    Argument.objects.bulk_create(
        Argument(assignment=assignment, team=teams[number], revision=1, **words)
        for number, words in told["arguments"].items()
    )
    rubric = assignment.plan.content.get("rubric", [])
    Mark.objects.bulk_create(
        Mark(
            assignment=assignment, team=teams[number], row=row, row_name=rubric[row]["row"], level=level,
            comment=comment, marked_by=teacher,
        )
        for number, rows in told["marks"].items()
        for row, level, comment in rows
    )  # fmt: skip
    LabBoard.objects.create(assignment=assignment, revision=1, notes=told["board_notes"], is_open=False)
    return len(readings)


def _readings(
    assignment: Assignment,
    team: Team,
    designs: dict[str, dict[str, list[float]]],
    told: dict[str, Any],
    begins: datetime,
) -> list[Reading]:
    """A team's runs in the order it took them, a little after one another."""
    noted = told["notes"].get(str(team.number), {})
    found: list[Reading] = []
    for design, loads in designs.items():
        for load, times in loads.items():
            for trial, time in enumerate(times, start=1):
                odd = (design, float(load), trial) == (noted.get("design"), noted.get("value"), noted.get("trial"))
                found.append(
                    Reading(
                        assignment=assignment, team=team, entry=uuid.uuid4(), design=design, changed=float(load),
                        changed_measured=told["weighed_g"].get(load), trial=trial, measured=time,
                        note=noted["note"] if odd else "", is_left_out=odd and noted["left_out"], stopwatch=True,
                        measured_at=begins + timedelta(minutes=told["minutes_per_run"] * len(found)),
                    )
                )  # fmt: skip
    return found
