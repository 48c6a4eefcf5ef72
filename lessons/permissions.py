"""Who may do what with lesson plans, kits and classes. ``check_can_x`` raises PermissionDenied, ``can_x`` asks."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from lessons.models import Assignment, KitPart
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
