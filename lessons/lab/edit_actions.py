"""Saving the experiment of a lesson: nothing teams measured may lose its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.plans import locked_plan, save_plan
from lessons.actions.refusals import ChangedMeanwhile
from lessons.lab.kept_places import check_readings
from lessons.models import LessonPlan
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
    check_readings(now, before or {}, experiment)
    content = {"experiment": dict(experiment) if experiment is not None else None}
    return save_plan(user, now, now.version, content=content)


def _at(plan: LessonPlan, version: int) -> Any:
    kept = plan.versions.filter(number=version).first()
    return kept.fields.get("content", {}).get("experiment") if kept is not None else object()
