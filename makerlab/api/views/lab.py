"""Lab results: what the teams of a class measured."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from ninja import Router, Schema
from ninja.responses import Status
from pydantic import AwareDatetime, Field

from lessons.lab import actions, queries
from lessons.lab.experiment import Experiment, ExperimentError
from lessons.models import Assignment, Reading, Team
from makerlab.api.door import ApiRequest
from makerlab.api.problems import problem
from makerlab.api.scopes import Scope
from makerlab.api.views.common import After, Key, Limit, Revision, Sent, Text, needs, one, page

router = Router(tags=["lab"])
NO_EXPERIMENT = "This lesson has no experiment that can be run."


class VariableOut(Schema):
    name: str
    unit: str


class ReadingOut(Schema):
    """One run that counts: the newest of its corrections. ``measured`` null: it gave no value, ``note`` says why.
    Values are in the units of the experiment."""

    id: int
    entry: UUID
    team: int
    design: str
    version: int | None
    changed: float
    changed_measured: float | None
    trial: int
    measured: float | None
    note: str
    is_left_out: bool
    measured_at: datetime


class MeanOut(Schema):
    """The mean of a team's trials that count, of one design at one value."""

    team: int
    design: str
    version: int | None
    changed: float
    trials: int
    mean: float


class LabOut(Schema):
    """The class's results. ``next`` is what to send as ``after`` for more readings; ``means`` are always whole."""

    assignment: int
    revision: int
    changed: VariableOut
    measured: VariableOut
    designs: list[str]
    changed_values: list[float]
    readings: list[ReadingOut]
    means: list[MeanOut]
    next: int | None


def own_assignment(request: ApiRequest, pk: Key) -> Assignment:
    """An assignment this token's owner sees."""
    rows = Assignment.objects.visible_to(request.user).select_related("plan", "school_class__school", "board")
    found: Assignment = one(rows, pk)
    return found


def experiment_of(assignment: Assignment) -> Experiment | None:
    """The experiment, if the lesson has one that can be run."""
    try:
        return queries.experiment_of(assignment)
    except ExperimentError:
        return None


@router.get(
    "/assignments/{pk}/lab", response={200: LabOut, 204: None}, url_name="assignment-lab", **needs(Scope.LAB_READ)
)
def lab_results(request: ApiRequest, pk: Key, since: Revision = None, limit: Limit = 50, after: After = None) -> Any:
    """Readings and means of all teams you see; 204 while the board is at ``since``."""
    assignment = own_assignment(request, pk)
    experiment = experiment_of(assignment)
    if experiment is None:
        return problem(409, NO_EXPERIMENT, code="no_experiment")
    board = queries.board_of(assignment)
    if since is not None and since == board.revision:
        return Status(204, None)
    rows = Reading.objects.visible_to(request.user).filter(assignment=assignment, replaced_by__isnull=True)
    found, more = page(rows, limit, after)
    return Status(
        200,
        {
            "assignment": assignment.pk,
            "revision": board.revision,
            "changed": {"name": experiment.changed.name, "unit": experiment.changed.unit},
            "measured": {"name": experiment.measured.name, "unit": experiment.measured.unit},
            "designs": list(experiment.designs),
            "changed_values": list(experiment.values),
            "readings": [reading_out(row) for row in found],
            "means": means(assignment, experiment),
            "next": more,
        },
    )


def reading_out(row: Reading) -> dict[str, Any]:
    """A reading as the interface tells it."""
    same = ("entry", "design", "version", "changed", "changed_measured", "trial", "measured", "note", "is_left_out")
    told = {name: getattr(row, name) for name in same}
    return {**told, "id": row.pk, "team": row.team_id, "measured_at": row.measured_at}


def means(assignment: Assignment, experiment: Experiment) -> list[dict[str, Any]]:
    """Of every team and design, as the class's board has them."""
    return [
        {
            "team": team.key,
            "design": design.design,
            "version": design.version,
            "changed": cell.value,
            "trials": len(cell.readings),
            "mean": cell.mean,
        }
        for team in queries.results(assignment, experiment).teams
        for design in (*team.designs, *team.earlier)
        for cell in design.cells
        if cell.readings
    ]


Value = Annotated[float, Field(allow_inf_nan=False)]


class ReadingIn(Sent):
    """One measured run, in the units of the experiment. ``entry`` is made by the sender: the same one sent twice is
    stored once. ``measured`` null: it gave no value, and ``note`` says why. ``replaces``: the reading it corrects."""

    entry: UUID
    team: Key
    design: Annotated[Text, Field(max_length=40)]
    changed: Value
    trial: Annotated[int, Field(ge=1, le=1000)]
    measured: Value | None = None
    changed_measured: Value | None = None
    note: Annotated[Text, Field(max_length=actions.NOTE_MAX)] = ""
    is_left_out: bool = False
    measured_at: AwareDatetime | None = None
    replaces: Key | None = None
    version: Annotated[int, Field(ge=1, le=actions.VERSION_MOST)] | None = None


@router.post(
    "/assignments/{pk}/lab/readings", response={201: ReadingOut}, url_name="assignment-reading",
    **needs(Scope.LAB_WRITE),
)  # fmt: skip
def reading_create(request: ApiRequest, pk: Key, told: ReadingIn) -> Any:
    """Enter a reading for a team, or correct one."""
    assignment = own_assignment(request, pk)
    team: Team = one(Team.objects.visible_to(request.user), told.team)
    experiment = experiment_of(assignment)
    if experiment is None:
        return problem(409, NO_EXPERIMENT, code="no_experiment")
    values = told.dict(exclude={"team", "is_left_out"})
    new = actions.NewReading(**values, left_out=told.is_left_out)
    return Status(201, reading_out(actions.enter(request.user, assignment, team, experiment, new)))
