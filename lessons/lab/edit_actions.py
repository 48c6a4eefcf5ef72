"""Saving the experiment of a lesson: nothing teams measured may lose its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.plans import locked_plan, save_plan
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.lab.experiment import ExperimentError, read_experiment
from lessons.models import LessonPlan, Reading
from makerlab.accounts.models import User


@transaction.atomic
def save_experiment(
    user: User, plan: LessonPlan, expected_version: int, experiment: Mapping[str, Any] | None
) -> LessonPlan:
    """Write a plan's experiment, None for none, and keep what stood there as a version.

    A save of other parts of the lesson in between does no harm and is kept. Raises PermissionDenied, ChangedMeanwhile
    (somebody saved the experiment), and NotPossible with the field to mend when readings of a class would lose their
    place: a unit they were taken in, a value or a design they belong to.
    """
    now = locked_plan(user, plan)
    before = now.content.get("experiment")
    if now.version != expected_version and _at(now, expected_version) != before:
        raise ChangedMeanwhile(_("Somebody saved this experiment after you opened it."))
    _check_readings(now, before or {}, experiment)
    content = {"experiment": dict(experiment) if experiment is not None else None}
    return save_plan(user, now, now.version, content=content)


def _at(plan: LessonPlan, version: int) -> Any:
    kept = plan.versions.filter(number=version).first()
    return kept.fields.get("content", {}).get("experiment") if kept is not None else object()


def _check_readings(plan: LessonPlan, before: Mapping[str, Any], after: Mapping[str, Any] | None) -> None:
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
