"""Which of its own wheels a team rolls on lab day: the newest approved version of the redesigned part."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment, ExperimentError, read_experiment
from lessons.lab.physics import LabWheel, register_wheels, wheel_of
from lessons.models import Assignment, Team
from submissions.models import Submission
from submissions.states import State


def own_wheels(assignment: Assignment, team: Team) -> Mapping[str, LabWheel]:
    """The newest approved wheel for the experiment's last design, versions before it for the designs before."""
    try:
        experiment = read_experiment(assignment.plan.content)
    except ExperimentError:
        return {}
    mine = Submission.objects.filter(assignment=assignment, team=team).order_by("-version")
    newest = mine.filter(state=State.APPROVED).first()
    if experiment is None or newest is None:
        return {}
    rolled = [newest, *mine.filter(kit_part=newest.kit_part_id, version__lt=newest.version)]
    found = {}
    for design, submission in zip(_own_designs(experiment), rolled, strict=False):
        wheel = wheel_of(submission, _("version %(version)d") % {"version": submission.version})
        if wheel is not None:
            found[design] = wheel
    return found


def _own_designs(experiment: Experiment) -> list[str]:
    """The team's own designs, last first; the first of several designs is the kit's part."""
    designs = experiment.designs[1:] if len(experiment.designs) > 1 else experiment.designs
    return list(reversed(designs))


register_wheels(own_wheels)
