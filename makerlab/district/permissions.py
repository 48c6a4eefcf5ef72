"""Who runs the district: an administrator of one school to whom a command gave it."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from makerlab.accounts.models import School, User
from makerlab.accounts.people import NotPossible
from makerlab.accounts.second_step import has_second_step


def can_run_district(user: User) -> bool:
    """Whether the page is there for this person. It opens only with the second step of sign-in."""
    return user.runs_district and user.is_administrator and user.is_active


def check_can_run_district(user: User) -> None:
    """Raise PermissionDenied unless the page is there for this person, NotPossible while it stays closed to them."""
    if not can_run_district(user):
        raise PermissionDenied
    if not has_second_step(user):
        raise NotPossible(_("Turn on the second step of your sign-in first."))


def schools_for(user: User) -> QuerySet[School]:
    """All schools for whoever runs the district, none for anybody else. To be counted, never looked into."""
    return School.objects.all() if can_run_district(user) else School.objects.none()
