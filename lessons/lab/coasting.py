"""Coast-downs: an unloaded cart rolls past a mark on the level until it rests; the loss of its wheels and bearings."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.refusals import NotPossible
from lessons.lab import physics
from lessons.lab.actions import check_team
from lessons.lab.experiment import Experiment
from lessons.models import Assignment, Coasting, Team
from lessons.science.rolling import Losses
from lessons.science.values import Unknown
from makerlab.accounts.models import User
from makerlab.audit.models import record

LENGTH_MOST_M, TIME_MOST_S, ROWS_MOST = 100.0, 300.0, 50


@dataclass
class CoastingPage:
    """A team's coast-downs and the loss they give."""

    assignment: Assignment
    experiment: Experiment
    team: Team
    rows: list[Coasting]
    losses: Losses | Unknown

    @property
    def share(self) -> str:
        """The loss in 100 of the weight with its 95 % interval; empty while it is not known."""
        if isinstance(self.losses, Unknown):
            return ""
        share = self.losses.share
        text = f"{100 * share.value:.2f}"
        if math.isnan(share.uncertainty):
            return text
        interval = share.interval()
        return _("%(share)s, from %(low)s to %(high)s") % {
            "share": text,
            "low": f"{100 * interval.low:.2f}",
            "high": f"{100 * interval.high:.2f}",
        }


def coasting_page(assignment: Assignment, experiment: Experiment, team: Team) -> CoastingPage:
    """The page of one team."""
    rows = list(Coasting.objects.filter(assignment=assignment, team=team))
    wheels = physics.wheels_of(assignment, team, experiment)
    return CoastingPage(assignment, experiment, team, rows, physics.coasting_losses(experiment, rows, wheels))


@transaction.atomic
def add_coasting(
    user: User,
    assignment: Assignment,
    team: Team,
    experiment: Experiment,
    design: str,
    length_m: float | None,
    time_s: float | None,
) -> Coasting:
    """Write a coast-down down: the way from the mark to rest in m, the time it took in s. Raises PermissionDenied or
    NotPossible with the field to mend."""
    check_team(user, assignment, team)
    if design not in experiment.designs:
        raise NotPossible(_("This experiment has no design of that name."), "design")
    for field, value, most, unit in (("length", length_m, LENGTH_MOST_M, "m"), ("time", time_s, TIME_MOST_S, "s")):
        if value is None or not 0.05 <= value <= most:
            raise NotPossible(_("Write a number from 0.05 to %(most)g %(unit)s.") % {"most": most, "unit": unit}, field)
    assert length_m is not None
    assert time_s is not None
    if Coasting.objects.filter(assignment=assignment, team=team).count() >= ROWS_MOST:
        raise NotPossible(_("That is enough coast-downs. Take one out first."), "length")
    made = Coasting.objects.create(
        assignment=assignment, team=team, design=design, length_m=length_m, time_s=time_s, entered_by=user
    )
    record(assignment.school_class.school_id, user, "add coasting", made, length_m=length_m, time_s=time_s)
    return made


@transaction.atomic
def remove_coasting(user: User, assignment: Assignment, team: Team, coasting: Coasting) -> None:
    """Take a coast-down out. Raises PermissionDenied."""
    check_team(user, assignment, team)
    facts = {"length_m": coasting.length_m, "time_s": coasting.time_s}
    record(assignment.school_class.school_id, user, "remove coasting", coasting, **facts)
    Coasting.objects.filter(pk=coasting.pk).delete()
