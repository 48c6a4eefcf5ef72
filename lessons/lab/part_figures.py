"""The figures of a part that matter in an experiment, for two designs side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.model_kinds import ModelKind
from lessons.lab.models.hoist import drum_of
from lessons.lab.models.hull import float_of
from lessons.lab.models.launcher import arm_of
from lessons.lab.parts import LabPart
from lessons.science.floating import WATER_G_PER_CM3
from lessons.science.values import Unknown


@dataclass(frozen=True)
class PartFigure:
    """``of`` gives the figure of a part, None where it is not known."""

    label: str
    unit: str
    decimals: int
    of: Callable[[LabPart], float | None]


def figures_of(experiment: Experiment) -> list[PartFigure]:
    """In the order they stand on the page."""
    kind = experiment.model.kind if experiment.model else None
    own: list[PartFigure] = []
    if kind in (ModelKind.ROLLING, ModelKind.LAUNCHER):
        own.append(
            PartFigure(_("Spin inertia"), "g cm²", 1, lambda p: p.wheel.inertia_kg_m2.value * 1e7 if p.wheel else None)
        )
    if kind is ModelKind.ROLLING:
        own.append(
            PartFigure(_("Rolling radius"), "mm", 1, lambda p: p.wheel.radius_m.value * 1000 if p.wheel else None)
        )
        own.append(PartFigure(_("Width"), "mm", 1, lambda p: min(p.size_mm) if p.size_mm else None))
    if kind is ModelKind.HULL:
        own.append(PartFigure(_("Height up to the edge"), "mm", 1, _edge_mm))
        own.append(PartFigure(_("Water it can push away"), "cm³", 1, _capacity_cm3))
    if experiment.model is not None and kind is ModelKind.LAUNCHER:
        cup = experiment.model["cup_outside_mm"]
        own.append(PartFigure(_("Pivot to ball"), "mm", 1, lambda p: _long_mm(p, cup)))
    if kind is ModelKind.HOIST:
        own.append(PartFigure(_("Spool"), "mm", 1, _spool_mm))
    if kind is not ModelKind.ROLLING:
        own += [PartFigure(label, "mm", 1, side) for label, side in _sides()]
    return [
        PartFigure(_("Mass"), "g", 1, lambda p: p.mass_g),
        *own,
        PartFigure(_("Hub hole") if kind is ModelKind.ROLLING else _("Hole"), "mm", 2, lambda p: p.hole_mm),
        PartFigure(_("Printing"), "min", 0, lambda p: p.minutes),
    ]


def _sides() -> list[tuple[str, Callable[[LabPart], float | None]]]:
    def side(rank: int) -> Callable[[LabPart], float | None]:
        return lambda part: sorted(part.size_mm)[rank] if part.size_mm else None

    return [(_("Longest side"), side(2)), (_("Middle side"), side(1)), (_("Shortest side"), side(0))]


def _edge_mm(part: LabPart) -> float | None:
    found = float_of(part, WATER_G_PER_CM3)
    return None if isinstance(found, Unknown) else found.depth_mm


def _capacity_cm3(part: LabPart) -> float | None:
    found = float_of(part, WATER_G_PER_CM3)
    return None if isinstance(found, Unknown) else found.volumes_mm3[-1] / 1000


def _spool_mm(part: LabPart) -> float | None:
    found = drum_of(part)
    return None if isinstance(found, Unknown) else found.diameter_mm


def _long_mm(part: LabPart, cup_outside_mm: float) -> float | None:
    found = arm_of(part, cup_outside_mm)
    return None if isinstance(found, Unknown) else found.long_m.value * 1000
