"""Which of its own wheels a team rolls on lab day: the newest approved version of the redesigned part."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from lessons.lab.experiment import ExperimentError, read_experiment
from lessons.lab.physics import LabWheel, register_wheels, wheel_of
from lessons.models import Assignment, Team
from submissions.models import Submission
from submissions.states import State


def own_wheels(assignment: Assignment, team: Team) -> Mapping[str, LabWheel]:
    """The team's wheel for the last design of the experiment, when one is approved and measured."""
    try:
        experiment = read_experiment(assignment.plan.content)
    except ExperimentError:
        return {}
    newest = (
        Submission.objects.filter(assignment=assignment, team=team, state=State.APPROVED).order_by("-version").first()
    )
    if experiment is None or newest is None:
        return {}
    wheel = wheel_of(newest, _("version %(version)d") % {"version": newest.version})
    return {} if wheel is None else {experiment.designs[-1]: wheel}


register_wheels(own_wheels)
