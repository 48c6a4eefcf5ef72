"""The staff of a school: who is here, and the verbs by which an administrator adds a person, gives a new password, and
takes the key back."""

from __future__ import annotations

import secrets

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from makerlab.accounts.models import STAFF_ROLES, Role, School, User
from makerlab.audit.models import record

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that look alike on paper
GROUPS, GROUP_LETTERS = 4, 4  # 16 of 31 signs: 79 bits


class NotPossible(Exception):
    """Why a verb was refused, in words; ``field`` names the field it is about, if one."""

    def __init__(self, told: str, field: str | None = None) -> None:
        self.field = field
        super().__init__(told)


def staff_of(user: User) -> QuerySet[User]:
    """The staff an administrator looks after; nobody for everybody else."""
    if not user.is_administrator:
        return User.objects.none()
    found: QuerySet[User] = User.objects.filter(school_id=user.school_id, role__in=STAFF_ROLES)
    return found.select_related("second_step", "service_account").order_by("-is_active", "role", "display_name")


def new_password() -> str:
    """A password to be written on paper once: four groups of four letters, from the system's random source."""
    groups = ("".join(secrets.choice(LETTERS) for _letter in range(GROUP_LETTERS)) for _group in range(GROUPS))
    return "-".join(groups)


@transaction.atomic
def add_person(actor: User, username: str, display_name: str, role: str) -> tuple[User, str]:
    """A new member of staff and the password, which is kept nowhere else. Raises NotPossible."""
    _administrator(actor)
    password = new_password()
    if role not in STAFF_ROLES:
        raise NotPossible(_("Students join with their class code; choose another role."), "role")
    if User.objects.filter(username__iexact=username).exists():
        raise NotPossible(_("That user name is taken. Add a letter or a number."), "username")
    try:
        person = User.objects.create_staff(actor.school, username, role, password, display_name)
    except ValidationError as error:
        raise NotPossible(" ".join(error.messages)) from error
    User.objects.note_given_password(person)
    record(actor.school_id, actor, "add_person", person, role=role)
    return person, password


@transaction.atomic
def give_password(actor: User, person: User) -> str:
    """A new password for somebody who lost theirs; their sessions end. Returns it; it is kept nowhere else. Raises
    NotPossible."""
    holds_keys_of(actor, person)
    password = _give(person)
    record(actor.school_id, actor, "give_password", person)
    return password


@transaction.atomic
def give_password_by_server(person: User) -> str:
    """Whoever has the server gives a member of staff a new password, where nobody in the browser can; their sessions
    end. Returns it; it is kept nowhere else."""
    password = _give(person)
    record(person.school_id, None, "give_password", person, by="server")
    return password


def _give(person: User) -> str:
    password = new_password()
    person.set_password(password)
    person.save(update_fields=["password"])
    User.objects.note_given_password(person)
    return password


@transaction.atomic
def note_own_password(user: User) -> None:
    """The password is one they chose themselves."""
    User.objects.filter(pk=user.pk).update(password_given_at=None)
    record(user.school_id, user, "change_password", user)


@transaction.atomic
def sign_out_everywhere(actor: User) -> None:
    """One's own sessions end, wherever they are."""
    actor.end_sessions()
    record(actor.school_id, actor, "sign-out-everywhere", actor)


@transaction.atomic
def set_active(actor: User, person: User, active: bool) -> None:
    """Whether somebody may sign in. What they did stays on record. Raises NotPossible for oneself."""
    if active:
        holds_keys_of(actor, person)
    looks_after(actor, person)
    if person.pk == actor.pk:
        raise NotPossible(_("You cannot lock yourself out; another administrator can."))
    if not User.objects.filter(pk=person.pk).exclude(is_active=active).update(is_active=active):
        raise NotPossible(_("That is so already for %(person)s.") % {"person": person})
    record(actor.school_id, actor, "let_in" if active else "lock_out", person)


@transaction.atomic
def new_school(
    name: str, time_zone: str, username: str, display_name: str, actor: User | None = None
) -> tuple[School, User, str]:
    """A school with its first administrator and the password, which is kept nowhere else. ``actor`` is who asked for it
    in the browser, None for a command. Raises NotPossible."""
    school = check_new_school(name, time_zone, username)
    password = new_password()
    try:
        with transaction.atomic():
            school.save()
            person = User.objects.create_staff(school, username, Role.ADMINISTRATOR, password, display_name)
    except ValidationError as error:
        raise _told(error) from error
    except IntegrityError:  # somebody was quicker
        check_new_school(name, time_zone, username)
        raise
    User.objects.note_given_password(person)
    record(school.pk, actor, "new_school", school)
    return school, person, password


def check_new_school(name: str, time_zone: str, username: str) -> School:
    """The school as it would be, not written. Raises NotPossible: names differ from others by more than capitals."""
    school = School(name=" ".join(name.split()), time_zone=time_zone)
    if School.objects.filter(name__iexact=school.name).exists():
        raise NotPossible(_("There is a school of that name already."), "name")
    if User.objects.filter(username__iexact=username).exists():
        raise NotPossible(_("That user name is taken. Add a letter or a number."), "username")
    try:
        school.full_clean()
    except ValidationError as error:
        raise _told(error) from error
    return school


def _told(error: ValidationError) -> NotPossible:
    """Of the first field that cannot be as it is."""
    field, messages = next(iter(error.message_dict.items()))
    return NotPossible(" ".join(messages), field)


def _administrator(actor: User) -> None:
    if not actor.is_administrator:
        raise PermissionDenied


def looks_after(actor: User, person: User) -> None:
    """Raise PermissionDenied unless this administrator looks after that member of staff."""
    _administrator(actor)
    if person.school_id != actor.school_id or not person.is_staff_member:
        raise PermissionDenied


def holds_keys_of(actor: User, person: User) -> None:
    """Raise unless this administrator may change how that member of staff signs in: PermissionDenied as
    ``looks_after``, NotPossible for somebody who runs the district, as whom they could sign in otherwise."""
    looks_after(actor, person)
    if person.runs_district and person.pk != actor.pk:
        raise NotPossible(
            _("%(person)s runs the district. How they sign in is changed by whoever has the server.")
            % {"person": person}
        )
