"""Make, describe, archive classes; open and close joining; give a class another code."""

from __future__ import annotations

from collections.abc import Collection

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons import permissions
from lessons.actions.refusals import NotPossible
from lessons.classes.codes import new_code
from lessons.models import SchoolClass
from lessons.rosters import names
from makerlab.accounts.models import Role, User
from makerlab.audit.models import record

CODE_TRIES = 40
Values = dict[str, str]  # school_year, term


@transaction.atomic
def make_class(
    user: User, name: str, values: Values, teachers: Collection[User] = (), sourced_id: str = ""
) -> SchoolClass:
    """A new class with a code of its own; a teacher teaches the classes they make. Raises NotPossible."""
    permissions.check_can_make_class(user)
    name = _checked_name(user.school_id, name)
    made = SchoolClass.objects.create(
        school_id=user.school_id, name=name, code=_free_code(), sourced_id=sourced_id, **values
    )
    made.teachers.set(_checked_teachers(user, teachers) if user.is_administrator else [user])
    record(user.school_id, user, "make_class", made, name=name)
    return made


@transaction.atomic
def change_class(
    user: User, school_class: SchoolClass, name: str, values: Values, teachers: Collection[User] | None = None
) -> None:
    """Rename, say year and term; administrators also say who teaches it. Raises NotPossible."""
    school_class = locked(user, school_class)
    before = school_class.name
    school_class.name = _checked_name(user.school_id, name, school_class)
    for field in ("school_year", "term"):
        setattr(school_class, field, values.get(field, getattr(school_class, field)))
    school_class.save(update_fields=["name", "school_year", "term"])
    if teachers is not None and user.is_administrator:
        school_class.teachers.set(_checked_teachers(user, teachers))
    record(user.school_id, user, "change_class", school_class, before=before, after=school_class.name)


@transaction.atomic
def archive_class(user: User, school_class: SchoolClass) -> None:
    """Put the class away: its students no longer sign in, all its work stays. Not while a lesson is still to come."""
    school_class = locked(user, school_class)
    if school_class.archived_at:
        return
    ahead = school_class.assignments.filter(meeting__ends_at__gt=timezone.now()).select_related("plan").first()
    if ahead:
        told = _("%(plan)s is still to come in this class. Remove the lesson or wait until it is over.")
        raise NotPossible(told % {"plan": ahead.plan})
    SchoolClass.objects.filter(pk=school_class.pk).update(archived_at=timezone.now(), joining_open=False)
    record(user.school_id, user, "archive_class", school_class)


@transaction.atomic
def restore_class(user: User, school_class: SchoolClass) -> None:
    """Take the class out of the archive. Joining stays closed until somebody opens it."""
    school_class = locked(user, school_class)
    if school_class.archived_at:
        SchoolClass.objects.filter(pk=school_class.pk).update(archived_at=None)
        record(user.school_id, user, "restore_class", school_class)


@transaction.atomic
def set_joining(user: User, school_class: SchoolClass, is_open: bool) -> None:
    """Whether students who never signed in may do so. Who has signed in before always may."""
    school_class = locked(user, school_class)
    if school_class.archived_at and is_open:
        raise NotPossible(_("This class is archived. Take it out of the archive first."))
    if school_class.joining_open != is_open:
        SchoolClass.objects.filter(pk=school_class.pk).update(joining_open=is_open)
        record(user.school_id, user, "open_joining" if is_open else "close_joining", school_class)


@transaction.atomic
def renew_code(user: User, school_class: SchoolClass) -> str:
    """Another class code; the old one and every join card with it are worth nothing from now on."""
    school_class = locked(user, school_class)
    code = _free_code()
    SchoolClass.objects.filter(pk=school_class.pk).update(code=code)
    record(user.school_id, user, "renew_class_code", school_class)
    return code


def locked(user: User, school_class: SchoolClass) -> SchoolClass:
    """The class as it is now, locked until the transaction ends. Raises PermissionDenied."""
    permissions.check_can_run_class(user, school_class)
    return SchoolClass.objects.select_for_update(no_key=True).get(pk=school_class.pk)


def _checked_name(school_id: int, name: str, itself: SchoolClass | None = None) -> str:
    name = names.clean(name)
    if not name or len(name) > 40:
        raise NotPossible(_("A class has a name of 1 to 40 letters."), "name")
    others = SchoolClass.objects.filter(school_id=school_id).exclude(pk=itself.pk if itself else 0)
    taken = next((other for other in others if names.key(other.name) == names.key(name)), None)
    if taken:
        told = _("Your school has a class %(name)s already; archived classes keep their names.")
        raise NotPossible(told % {"name": taken.name}, "name")
    return name


def _checked_teachers(user: User, teachers: Collection[User]) -> list[User]:
    found = [each for each in teachers if each.school_id == user.school_id and each.role == Role.TEACHER]
    if not found:
        raise NotPossible(_("Say who teaches this class."), "teachers")
    return found


def _free_code() -> str:
    for _try in range(CODE_TRIES):
        code = new_code()
        if not SchoolClass.objects.filter(code__iexact=code).exists():
            return code
    raise IntegrityError("no free class code was found")
