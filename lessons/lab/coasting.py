"""Coast-downs: an unloaded cart rolls past a mark on the level until it rests; the loss of its wheels and bearings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.refusals import NotPossible
from lessons.lab import physics
from lessons.lab.actions import check_team, raise_revision
from lessons.lab.cautions import CautionGroup, lab_cautions
from lessons.lab.experiment import Experiment
from lessons.lab.parts import LabPart, parts_of
from lessons.lab.told import Told
from lessons.lab.unknown import why_not
from lessons.models import Assignment, Coasting, Team
from lessons.science.coasting import speed_at_start
from lessons.science.rolling import Losses
from lessons.science.values import Measured, Unknown
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.components.figures import NO_BREAK

ROWS_MOST = 50


class How(StrEnum):
    """How a coast-down tells how fast it began."""

    TO_REST = "rest"
    MARKS = "marks"
    SPEED = "speed"


NEEDED = {
    How.TO_REST: ("length", "time"),
    How.MARKS: ("marks", "time", "length"),
    How.SPEED: ("speed", "length"),
}
# what a floor and a watch can give: from, to, unit
LIMITS = {
    "length": (0.05, 100.0, "m"),
    "marks": (0.05, 20.0, "m"),
    "time": (0.05, 300.0, "s"),
    "speed": (0.01, 20.0, "m/s"),
}


@dataclass(frozen=True)
class CoastView:
    """One coast-down for a table: what was measured in words, the speed it began with, the loss it tells."""

    row: Coasting
    measured: str
    way: str
    speed: str
    share: str


@dataclass
class CoastingPage:
    """A team's coast-downs and the loss they give."""

    assignment: Assignment
    experiment: Experiment
    team: Team
    rows: list[Coasting]
    parts: Mapping[str, LabPart]
    losses: Losses | Unknown

    @property
    def cautions(self) -> list[CautionGroup]:
        return lab_cautions(self.assignment)

    @property
    def views(self) -> list[CoastView]:
        return [self._view(row) for row in self.rows]

    def _view(self, row: Coasting) -> CoastView:
        share = physics.share_of(self.experiment, row, self.parts)
        speed = row.speed_m_s or speed_at_start(physics.slowing_of(row).value, row.length_m)
        return CoastView(
            row,
            measured_words(row),
            f"{row.length_m:.2f}{NO_BREAK}m",
            f"{speed:.2f}{NO_BREAK}m/s",
            "–" if share is None else share_words(share),
        )

    @property
    def share_known(self) -> bool:
        return isinstance(self.losses, Losses)

    @property
    def told(self) -> Told:
        return losses_told(self.losses)


def measured_words(row: Coasting) -> str:
    """What was measured beside the way, in words."""
    if row.speed_m_s is not None:
        told = _("%(speed)s m/s at the mark") % {"speed": f"{row.speed_m_s:.2f}"}
    elif row.marks_m is not None:
        told = _("%(time)s s over %(marks)s m") % {"time": f"{row.time_s:.2f}", "marks": f"{row.marks_m:.2f}"}
    else:
        told = _("%(time)s s to rest") % {"time": f"{row.time_s:.2f}"}
    return told.replace(" ", NO_BREAK)


def share_words(share: Measured) -> str:
    """A share in 100 with its standard uncertainty, to two digits of it."""
    return f"{100 * share.value:.2f} ± {100 * share.uncertainty:.2f}".replace(" ", NO_BREAK)


def losses_told(losses: Losses | Unknown) -> Told:
    """The loss in use, its uncertainty and where it comes from."""
    if isinstance(losses, Unknown):
        why = why_not(losses)
        why = why[:1].upper() + why[1:]
        text = _("%(why)s. The expected times leave rolling and bearings out, so real carts are slower.") % {"why": why}
        return Told("live", "chart", _("Without losses so far"), text)
    interval = losses.share.interval()
    source = (
        _("Source: the team's own coast-downs on the level, without the ramp.")
        if losses.source == physics.COASTED
        else _("Source: fitted to the ramp times of the whole class, this team's among them.")
    )
    text = _("In 95 of 100 such cases the true share lies from %(low)s to %(high)s. The expected times use it.") % {
        "low": f"{100 * interval.low:.2f}",
        "high": f"{100 * interval.high:.2f}",
    }
    title = _("Rolling and bearings take %(share)s in 100 of the weight") % {"share": share_words(losses.share)}
    return Told("live", "chart", title, f"{source} {text}")


def coasting_page(assignment: Assignment, experiment: Experiment, team: Team) -> CoastingPage:
    """The page of one team."""
    rows = list(Coasting.objects.filter(assignment=assignment, team=team))
    parts = parts_of(assignment, team, experiment)
    return CoastingPage(assignment, experiment, team, rows, parts, physics.coasting_losses(experiment, rows, parts))


@transaction.atomic
def add_coasting(
    user: User, assignment: Assignment, team: Team, experiment: Experiment, design: str, how: How,
    values: Mapping[str, float | None],
) -> Coasting:  # fmt: skip
    """Write a coast-down down. ``values``: length and marks in m, time in s, speed in m/s; those ``how`` needs are
    taken. Raises PermissionDenied or NotPossible with the field to mend."""
    check_team(user, assignment, team)
    if design not in experiment.designs:
        raise NotPossible(_("This experiment has no design of that name."), "design")
    kept: dict[str, float] = {}
    for name in NEEDED[how]:
        low, high, unit = LIMITS[name]
        value = values.get(name)
        if value is None or not low <= value <= high:
            facts = {"low": f"{low:g}", "high": f"{high:g}", "unit": unit}
            raise NotPossible(_("Write a number from %(low)s to %(high)s %(unit)s.") % facts, name)
        kept[name] = value
    if Coasting.objects.filter(assignment=assignment, team=team).count() >= ROWS_MOST:
        raise NotPossible(_("That is enough coast-downs. Take one out first."), "length")
    made = Coasting.objects.create(
        assignment=assignment, team=team, design=design, entered_by=user, length_m=kept["length"],
        time_s=kept.get("time"), marks_m=kept.get("marks"), speed_m_s=kept.get("speed"),
    )  # fmt: skip
    raise_revision(assignment)
    record(assignment.school_class.school_id, user, "add coasting", made, **kept)
    return made


@transaction.atomic
def remove_coasting(user: User, assignment: Assignment, team: Team, coasting: Coasting) -> None:
    """Take a coast-down out. Raises PermissionDenied."""
    check_team(user, assignment, team)
    facts = {name: getattr(coasting, name) for name in ("length_m", "time_s", "marks_m", "speed_m_s")}
    record(assignment.school_class.school_id, user, "remove coasting", coasting, **facts)
    Coasting.objects.filter(pk=coasting.pk).delete()
    raise_revision(assignment)
