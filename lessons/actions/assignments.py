"""Give a lesson plan to classes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons import permissions
from lessons.actions.classes import locked
from lessons.actions.refusals import NotPossible
from lessons.models import Assignment, LessonPlan, Meeting, SchoolClass
from makerlab.accounts.models import User
from makerlab.audit.models import record


@dataclass(frozen=True, slots=True)
class Limits:
    """What one printed file may be at most; None: no limit. ``files_max``: versions of one part a team may upload."""

    mass_max_g: float | None = None
    duration_max_s: float | None = None
    size_max_mm: float | None = None
    files_max: int = 20


@dataclass(frozen=True, slots=True)
class Give:
    """One class, the lab day its parts are for, and until when files may come in."""

    school_class: SchoolClass
    meeting: Meeting
    upload_by: datetime


@transaction.atomic
def give_plan(user: User, plan: LessonPlan, gives: Sequence[Give], limits: Limits) -> list[Assignment]:
    """Give the lesson to all these classes or, when one of them cannot have it, to none.

    Raises PermissionDenied for a class of somebody else, NotPossible when a class has the lesson for that lab day
    already, when the day is over, or when files would come in after it begins.
    """
    permissions.check_can_give(user, plan)
    if not gives:
        raise NotPossible(_("Choose at least one class."))
    now = timezone.now()
    made = []
    for give in sorted(
        gives, key=lambda give: give.school_class.pk
    ):  # one order for all, so that no two lock crosswise
        school_class = locked(user, give.school_class)
        names = {"class": school_class, "plan": plan}
        if give.meeting.school_class_id != school_class.pk:
            raise NotPossible(_("That lab day is not one of %(class)s.") % names)
        if give.meeting.starts_at <= now:
            raise NotPossible(_("The lab day chosen for %(class)s is over.") % names)
        if not now < give.upload_by <= give.meeting.starts_at:
            raise NotPossible(_("%(class)s must be able to hand files in, before its lab day begins.") % names)
        if Assignment.objects.filter(plan=plan, school_class=school_class, meeting=give.meeting).exists():
            raise NotPossible(_("%(class)s has “%(plan)s” for that lab day already.") % names)
        made.append(
            Assignment.objects.create(
                plan=plan,
                school_class=school_class,
                meeting=give.meeting,
                upload_by=give.upload_by,
                created_by=user,
                mass_max_g=limits.mass_max_g,
                duration_max_s=limits.duration_max_s,
                size_max_mm=limits.size_max_mm,
                files_max=limits.files_max,
            )
        )
        record(school_class.school_id, user, "give_plan", made[-1], plan=plan.pk, school_class=school_class.pk)
    return made
