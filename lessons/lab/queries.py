"""Reading lab day from the database: a fixed number of queries, whatever the number of teams."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from lessons.lab.experiment import Experiment, read_experiment
from lessons.lab.results import ClassResult, Entry, class_result
from lessons.models import Assignment, LabBoard, Reading, Team
from makerlab.accounts.models import User


def assignment_for(user: User, pk: int) -> Assignment | None:
    """An assignment this person may see, with what the lab pages need."""
    rows = Assignment.objects.visible_to(user).select_related("plan", "school_class__school", "meeting")
    return rows.filter(pk=pk).first()


def experiment_of(assignment: Assignment) -> Experiment | None:
    """Raises ExperimentError when the plan's experiment cannot be run as written."""
    return read_experiment(assignment.plan.content)


def team_of(user: User, assignment: Assignment) -> Team | None:
    """The team a student enters for."""
    return Team.objects.filter(
        school_class=assignment.school_class_id, memberships__user=user, memberships__school_class__isnull=False
    ).first()


def board_of(assignment: Assignment) -> LabBoard:
    """The assignment's board; one that is not saved yet stands for its beginning."""
    return LabBoard.objects.filter(assignment=assignment).first() or LabBoard(assignment=assignment)


def newest_readings(assignment: Assignment, until_board: LabBoard | None = None) -> Iterable[Reading]:
    """Readings that no correction replaced. A frozen board shows those made before it was frozen."""
    rows = Reading.objects.filter(assignment=assignment).order_by("pk")
    if until_board is not None and until_board.frozen_at is not None:
        rows = rows.filter(entered_at__lte=until_board.frozen_at)
        kept = list(rows)
        replaced = {row.replaces_id for row in kept}
        return [row for row in kept if row.pk not in replaced]
    return rows.filter(replaced_by__isnull=True)


def entry_of(reading: Reading) -> Entry:
    return Entry(
        pk=reading.pk,
        design=reading.design,
        changed=reading.changed,
        trial=reading.trial,
        measured=reading.measured,
        changed_measured=reading.changed_measured,
        left_out=reading.is_left_out,
        note=reading.note,
    )


def results(assignment: Assignment, experiment: Experiment, board: LabBoard | None = None) -> ClassResult:
    """The whole class's results: two queries."""
    entries: dict[int, list[Entry]] = defaultdict(list)
    for reading in newest_readings(assignment, board):
        entries[reading.team_id].append(entry_of(reading))
    teams = Team.objects.filter(school_class=assignment.school_class_id).order_by("number")
    return class_result(experiment, [(team.pk, team.name) for team in teams], entries)
