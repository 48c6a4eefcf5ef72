"""What teams measured keeps its unit and its place, however the experiment of their lesson is changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from lessons.actions.refusals import NotPossible
from lessons.lab.experiment import ExperimentError, read_experiment
from lessons.models import LessonPlan, Reading


def check_readings(plan: LessonPlan, before: Mapping[str, Any], after: Mapping[str, Any] | None) -> None:
    """Whether an experiment may stand where ``before`` stood: units stay those readings were taken in, and every value
    and design they belong to is still there. Raises NotPossible with the field to mend."""
    readings = Reading.objects.filter(assignment__plan=plan, replaced_by__isnull=True)
    places = set(readings.values_list("design", "changed").order_by().distinct())
    if not places:
        return
    if after is None:
        raise NotPossible(_("Teams have measured in this lesson; its experiment cannot be taken away."))
    for name, words in (("changed", _("what was changed")), ("measured", _("what was measured"))):
        old, new = (str((raw.get(name) or {}).get("unit") or "") for raw in (before, after))
        if old != new:
            raise NotPossible(
                _(
                    "Teams wrote down %(what)s in “%(old)s”. In another unit their numbers would be wrong. "
                    "Copy the lesson to change the unit."
                )
                % {"what": words, "old": old},
                f"{name}_unit",
            )
    try:
        made = read_experiment({"experiment": after})
    except ExperimentError as error:
        raise NotPossible(str(error)) from error
    assert made is not None, "an experiment that is not empty"
    _check_places(places, made.values, made.designs)


def _check_places(places: set[tuple[str, float]], values: tuple[float, ...], designs: tuple[str, ...]) -> None:
    lost_values = sorted({value for _design, value in places} - set(values))
    if lost_values:
        names = ", ".join(f"{value:g}" for value in lost_values)
        raise NotPossible(
            _("Teams have measured at %(names)s. Keep it, or copy the lesson to try other values.") % {"names": names},
            "tried",
        )
    lost_designs = sorted({design for design, _value in places} - set(designs))
    if lost_designs:
        names = ", ".join(f"“{design}”" for design in lost_designs)
        raise NotPossible(
            _("Teams have measured %(names)s. Keep that name, or copy the lesson.") % {"names": names}, "designs"
        )
