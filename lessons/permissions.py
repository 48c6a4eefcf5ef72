"""Who may do what with lesson plans, kits and classes. ``check_can_x`` raises PermissionDenied, ``can_x`` asks."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from lessons.models import Assignment, KitPart, LessonPlan, SchoolClass
from makerlab.accounts.models import User


def check_can_set_print(user: User, kit_part: KitPart, assignment: Assignment | None = None) -> None:
    """Teachers set how the school's kits are printed, and teachers of a class how its own parts are; administrators
    both."""
    if not KitPart.objects.editable_by(user).filter(pk=kit_part.pk).exists():
        raise PermissionDenied
    if assignment is None:
        return
    if assignment.plan_id != kit_part.plan_id or not Assignment.objects.editable_by(user).filter(pk=assignment.pk):
        raise PermissionDenied


def can_set_print(user: User, kit_part: KitPart, assignment: Assignment | None = None) -> bool:
    try:
        check_can_set_print(user, kit_part, assignment)
    except PermissionDenied:
        return False
    return True


def check_can_write_plans(user: User) -> None:
    """Teachers and administrators write the school's lessons."""
    if not (user.is_teacher or user.is_administrator):
        raise PermissionDenied


def check_can_edit_plan(user: User, plan: LessonPlan) -> None:
    """Every teacher and administrator of the school may change its lessons; each change is kept as a version."""
    if not LessonPlan.objects.editable_by(user).filter(pk=plan.pk).exists():
        raise PermissionDenied


def can_edit_plan(user: User, plan: LessonPlan) -> bool:
    try:
        check_can_edit_plan(user, plan)
    except PermissionDenied:
        return False
    return True


def check_can_give(user: User, plan: LessonPlan) -> None:
    """Teachers and administrators give the school's lessons; whether to that class is asked of the class."""
    check_can_write_plans(user)
    if plan.archived_at is not None or not LessonPlan.objects.visible_to(user).filter(pk=plan.pk).exists():
        raise PermissionDenied


def check_can_make_class(user: User) -> None:
    """Teachers make classes they teach; administrators for any teacher of the school."""
    if not (user.is_teacher or user.is_administrator):
        raise PermissionDenied


def check_can_run_class(user: User, school_class: SchoolClass) -> None:
    """Who teaches the class, and administrators of its school, say who is in it and when it meets."""
    if not SchoolClass.objects.editable_by(user).filter(pk=school_class.pk).exists():
        raise PermissionDenied


def can_run_class(user: User, school_class: SchoolClass) -> bool:
    try:
        check_can_run_class(user, school_class)
    except PermissionDenied:
        return False
    return True


def check_can_set_days(user: User) -> None:
    """The bell schedule is the school's: administrators set it, all staff see it."""
    if not user.is_administrator:
        raise PermissionDenied
