"""Reading lab day from the database: a fixed number of queries, whatever the number of teams."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence

from django.db.models import Count, Exists, OuterRef, Subquery
from django.db.models.functions import JSONObject

from lessons.lab.experiment import Experiment, read_experiment
from lessons.lab.results import ClassResult, Entry, class_result
from lessons.models import Assignment, KitPart, LabBoard, Membership, Reading, Team
from makerlab.accounts.models import User

KIT_FIELDS = ("report", "mass_g", "duration_s", "width_mm", "depth_mm", "height_mm", "copies_in_file")


def assignment_for(user: User, pk: int) -> Assignment | None:
    """An assignment this person may see, with what the lab pages need."""
    rows = Assignment.objects.visible_to(user).select_related("plan", "school_class__school", "meeting", "board")
    leads = Exists(Assignment.objects.editable_by(user).filter(pk=OuterRef("pk")))
    kit = KitPart.objects.filter(plan=OuterRef("plan"), redesignable=True).order_by("position", "pk")
    told = kit.values(told=JSONObject(**{name: name for name in KIT_FIELDS}))[:1]
    mine = Membership.objects.filter(user=user, school_class=OuterRef("school_class")).values("team")[:1]
    later = Reading.objects.filter(assignment=OuterRef("pk"), entered_at__gt=OuterRef("board__frozen_at")).order_by()
    since = later.values("assignment").annotate(count=Count("pk")).values("count")
    rows = rows.annotate(is_led=leads, own_team=Subquery(mine), kit_told=Subquery(told), since_frozen=Subquery(since))
    return rows.filter(pk=pk).first()


def kit_of(assignment: Assignment) -> KitPart | None:
    """The part of the kit that teams redesign, with what was measured of it and no more. Without a query where the
    assignment is from ``assignment_for``."""
    if not hasattr(assignment, "kit_told"):
        rows = KitPart.objects.filter(plan=assignment.plan_id, redesignable=True).only(*KIT_FIELDS)
        return rows.order_by("position", "pk").first()
    told = assignment.kit_told
    if isinstance(told, str):
        told = json.loads(told)
    if not told:
        return None
    report = told["report"]
    return KitPart(**{**told, "report": json.loads(report) if isinstance(report, str) else report})


def may_lead(user: User, assignment: Assignment) -> bool:
    """Whether this person runs the lab: sets the board and marks. Of an assignment from ``assignment_for``."""
    return not user.is_student and bool(getattr(assignment, "is_led", False))


def teams_of(assignment: Assignment) -> list[Team]:
    """The class's teams by number; read once for one assignment object."""
    found: list[Team] | None = assignment.__dict__.get("_lab_teams")
    if found is None:
        found = list(Team.objects.filter(school_class=assignment.school_class_id).order_by("number"))
        assignment.__dict__["_lab_teams"] = found
    return found


def keep_teams(assignment: Assignment, teams: Sequence[Team]) -> None:
    """The class's teams by number, where the caller has read them: ``teams_of`` then asks nothing."""
    assignment.__dict__["_lab_teams"] = list(teams)


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
    board: LabBoard | None = getattr(assignment, "board", None)  # joined, or asked for once
    return board or LabBoard(assignment=assignment)


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
        version=reading.version,
    )


def entered_since(assignment: Assignment, board: LabBoard) -> int:
    """How many readings a frozen board does not show yet. Without a query where the assignment is from
    ``assignment_for``."""
    if board.frozen_at is None:
        return 0
    if hasattr(assignment, "since_frozen"):
        return assignment.since_frozen or 0
    return Reading.objects.filter(assignment=assignment, entered_at__gt=board.frozen_at).count()


def results(assignment: Assignment, experiment: Experiment, board: LabBoard | None = None) -> ClassResult:
    """The whole class's results: two queries."""
    entries: dict[int, list[Entry]] = defaultdict(list)
    for reading in newest_readings(assignment, board):
        entries[reading.team_id].append(entry_of(reading))
    return class_result(experiment, [(team.pk, team.name) for team in teams_of(assignment)], entries)
