"""What physics expects of a team's own part, for the experiments that name a model.

``expected`` gives, for every value of the changed variable, a figure with its standard uncertainty in the unit of the
measured variable, or says why there is none. The rolling cart has modules of its own: ``lessons.lab.physics`` and
``lessons.lab.expectation``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.utils.translation import gettext as _

from lessons.lab.experiment import Experiment
from lessons.lab.model_kinds import ModelKind
from lessons.lab.models import hoist, hull, launcher, turbine
from lessons.lab.models.answer import Expected
from lessons.lab.parts import LabPart
from lessons.science.values import Measured, Unknown

MODELS: Mapping[ModelKind, Callable[[Experiment, LabPart, Mapping[float, Measured]], Expected]] = {
    ModelKind.HULL: hull.expected,
    ModelKind.LAUNCHER: launcher.expected,
    ModelKind.HOIST: hoist.expected,
    ModelKind.TURBINE: turbine.expected,
}


def has_model(experiment: Experiment) -> bool:
    """Whether physics has something to say of this experiment, be it that a figure cannot be given."""
    return experiment.cart is not None or (experiment.model is not None and experiment.model.kind in MODELS)


def expected(experiment: Experiment, part: LabPart | None, at: Mapping[float, Measured]) -> Expected:
    """``at``: each value of the changed variable with what was really set or weighed there, in the experiment's
    unit."""
    model = experiment.model
    if model is None or model.kind not in MODELS:
        return _nothing(at, _("this experiment names no model to compute with"))
    if part is None:
        return _nothing(at, _("the part of this design is not measured yet: its figures come from the checked file"))
    return MODELS[model.kind](experiment, part, at)


def _nothing(at: Mapping[float, Measured], why: str) -> Expected:
    return Expected({value: Unknown(why) for value in at})
