"""The part a team tests on lab day, by what the check measured of its file.

Parts are told by whoever measures them: this module knows the kit's own, the app of submissions registers a source
for those a team designed. The first design of an experiment with two or more is the kit's part, the last the team's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.queries import kit_of
from lessons.lab.results import TeamResult, versioned
from lessons.models import Assignment, Team
from lessons.models.measured import MeasuredFile
from lessons.science.rolling import Wheel
from lessons.science.values import Measured

# how well a print follows its drawing (common practice, no source)
MASS_SHARE, INERTIA_SHARE, RADIUS_MM = 0.03, 0.03, 0.1


@dataclass(frozen=True, slots=True)
class LabPart:
    """One copy of a part as it is tested: ``name`` for people, its mass as printed.

    ``wheel``: as it rolls, its spin inertia from its layers; None where no single hole tells its axle. ``size_mm``: its
    box; ``hole_mm``: the hole on its axle; ``minutes``: of printing, its share of its file; ``version``: of a team's
    own part; ``facts``: the report of the check.
    """

    name: str
    mass_g: float
    wheel: Wheel | None = None
    size_mm: tuple[float, float, float] | None = None
    hole_mm: float | None = None
    minutes: float | None = None
    version: int | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)


Source = Callable[[Assignment, Sequence[Team], Experiment], Mapping[int, Mapping[str, LabPart]]]
_sources: list[Source] = []


def register_parts(source: Source) -> None:
    """Called once by an app's ``ready``: tells the parts of teams, by team id and design name."""
    if source not in _sources:
        _sources.append(source)


def parts_of(assignment: Assignment, team: Team, experiment: Experiment) -> dict[str, LabPart]:
    """The part of each design of a team that is known."""
    return parts_of_teams(assignment, [team], experiment)[team.pk]


def parts_of_teams(
    assignment: Assignment, teams: Sequence[Team], experiment: Experiment
) -> dict[int, dict[str, LabPart]]:
    """The same for several teams, by team id, in as many queries as for one."""
    kit: dict[str, LabPart] = {}
    if len(experiment.designs) > 1:
        first = kit_of(assignment)
        part = lab_part(first, _("the kit's own part")) if first is not None else None
        if part is not None:
            kit[experiment.designs[0]] = part
    found = {team.pk: dict(kit) for team in teams}
    for source in _sources:
        for key, own in source(assignment, teams, experiment).items():
            found[key].update(own)
    return found


def as_measured(parts: Mapping[str, LabPart], team: TeamResult) -> dict[str, LabPart]:
    """The parts of a team with, for its own design, the version its readings were made with: a newer one may have been
    approved since."""
    found, last = dict(parts), team.designs[-1]
    if last.version is not None and (known := parts.get(versioned(last.design, last.version))) is not None:
        found[last.design] = known
    return found


def lab_part(measured: MeasuredFile, name: str) -> LabPart | None:
    """The part of a measured file, its mass as estimated. None while nothing is measured."""
    report: Mapping[str, Any] = measured.report or {}
    if not measured.mass_g:
        return None
    sides = (measured.width_mm, measured.depth_mm, measured.height_mm)
    size = None if None in sides else tuple(float(side or 0.0) for side in sides)
    copies = max(measured.copies_in_file, 1)
    wheel = _wheel(report)
    return LabPart(
        name=name,
        mass_g=measured.mass_g / copies if wheel is None else wheel.mass_kg.value * 1000,
        wheel=wheel,
        size_mm=cast("tuple[float, float, float] | None", size),
        hole_mm=_hole(report),
        minutes=measured.duration_s / 60 / copies if measured.duration_s else None,
        facts=report,
    )


def _wheel(report: Mapping[str, Any]) -> Wheel | None:
    """As it spins about the hole nearest its middle; None when the report does not tell, or four in a file make it
    unclear which is which."""
    spin = report.get("spin")
    if not spin:
        return None
    mass_kg, inertia, radius = spin["mass_g"] / 1000, spin["inertia_g_mm2"] * 1e-9, spin["radius_mm"] / 1000
    if not (mass_kg > 0 and radius > 0 and inertia >= 0):
        return None
    return Wheel(
        Measured(mass_kg, MASS_SHARE * mass_kg),
        Measured(inertia, INERTIA_SHARE * inertia),
        Measured(radius, RADIUS_MM / 1000),
    )


def _hole(report: Mapping[str, Any]) -> float | None:
    """The hole nearest the middle of the rim, mm."""
    holes = [hole for hole in report.get("holes") or [] if hole.get("diameter_mm")]
    holes.sort(key=lambda hole: hole.get("eccentricity_mm") or 0.0)
    return float(holes[0]["diameter_mm"]) if holes else None
