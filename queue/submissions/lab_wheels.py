"""Which of its own wheels a team rolls on lab day: the newest approved version of the redesigned part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment, ExperimentError, read_experiment
from lessons.lab.physics import LabWheel, register_wheels, wheel_of
from lessons.models import Assignment, Team
from submissions.models import Submission
from submissions.states import State


def own_wheels(assignment: Assignment, teams: Sequence[Team]) -> Mapping[int, Mapping[str, LabWheel]]:
    """By team: the newest approved wheel for the experiment's last design, earlier ones for the designs before it."""
    try:
        experiment = read_experiment(assignment.plan.content)
    except ExperimentError:
        return {}
    if experiment is None:
        return {}
    rows = Submission.objects.filter(assignment=assignment, team__in=teams).order_by("-version", "-pk")
    by_team: dict[int, list[Submission]] = {}
    for row in rows.defer("picture", "shown"):
        if row.team_id is not None:
            by_team.setdefault(row.team_id, []).append(row)
    return {key: _wheels(experiment, mine) for key, mine in by_team.items()}


def _wheels(experiment: Experiment, mine: Sequence[Submission]) -> dict[str, LabWheel]:
    """``mine``: a team's versions, newest first."""
    newest = next((each for each in mine if each.state == State.APPROVED), None)
    if newest is None:
        return {}
    before = [each for each in mine if each.kit_part_id == newest.kit_part_id and each.version < newest.version]
    found = {}
    for design, submission in zip(_own_designs(experiment), [newest, *before], strict=False):
        wheel = wheel_of(submission, _("version %(version)d") % {"version": submission.version})
        if wheel is not None:
            found[design] = wheel
    return found


def _own_designs(experiment: Experiment) -> list[str]:
    """The team's own designs, last first; the first of several designs is the kit's part."""
    designs = experiment.designs[1:] if len(experiment.designs) > 1 else experiment.designs
    return list(reversed(designs))


register_wheels(own_wheels)
