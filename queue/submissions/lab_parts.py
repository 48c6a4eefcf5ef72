"""Which of its own parts a team tests on lab day: the newest approved version of the redesigned part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.parts import LabPart, lab_part, register_parts
from lessons.lab.results import versioned
from lessons.models import Assignment, Team
from submissions.models import Review, Submission
from submissions.states import State


def own_parts(
    assignment: Assignment, teams: Sequence[Team], experiment: Experiment
) -> Mapping[int, Mapping[str, LabPart]]:
    """By team: the newest approved part for the experiment's last design, earlier ones for the designs before it, and
    each under its own version as well."""
    approved = Review.objects.filter(submission=OuterRef("pk"), decision=Review.Decision.APPROVED)
    rows = Submission.objects.filter(assignment=assignment, team__in=teams).order_by("-version", "-pk")
    rows = rows.filter(Q(state=State.APPROVED) | Q(Exists(approved), state=State.REPLACED))
    by_team: dict[int, list[Submission]] = {}
    for row in rows.defer("picture", "shown"):
        if row.team_id is not None:
            by_team.setdefault(row.team_id, []).append(row)
    return {key: _parts(experiment, mine) for key, mine in by_team.items()}


def _parts(experiment: Experiment, mine: Sequence[Submission]) -> dict[str, LabPart]:
    """``mine``: a team's versions that were approved, also those a newer one has replaced since; newest first. Versions
    sent back, or never handed in, were not printed and are tested nowhere."""
    newest = next(iter(mine), None)
    if newest is None:
        return {}
    before = [each for each in mine if each.kit_part_id == newest.kit_part_id and each.version < newest.version]
    found = {}
    designs, own = _own_designs(experiment), experiment.designs[-1]
    for number, submission in enumerate([newest, *before]):
        part = lab_part(submission, _("version %(version)d") % {"version": submission.version})
        if part is None:
            continue
        part = replace(part, version=submission.version)
        found[versioned(own, submission.version)] = part
        if number < len(designs):
            found[designs[number]] = part
    return found


def _own_designs(experiment: Experiment) -> list[str]:
    """The team's own designs, last first; the first of several designs is the kit's part."""
    designs = experiment.designs[1:] if len(experiment.designs) > 1 else experiment.designs
    return list(reversed(designs))


register_parts(own_parts)
