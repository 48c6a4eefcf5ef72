"""Schools and the people in them."""

from __future__ import annotations

from typing import ClassVar
from zoneinfo import available_timezones

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    """What a person does here. One role each."""

    STUDENT = "student", _("student")
    TEACHER = "teacher", _("teacher")
    TECHNICIAN = "technician", _("technician")
    ADMINISTRATOR = "administrator", _("administrator")


STAFF_ROLES = frozenset({Role.TEACHER, Role.TECHNICIAN, Role.ADMINISTRATOR})


def check_time_zone(name: str) -> None:
    """Raise ValidationError unless ``name`` is an IANA time zone."""
    if name not in available_timezones():
        raise ValidationError(_("%(name)s is not a time zone, for example America/Chicago."), params={"name": name})


class School(models.Model):
    """One school: the wall no data passes."""

    name = models.CharField(max_length=120, unique=True)
    time_zone = models.CharField(max_length=64, default="America/Chicago", validators=[check_time_zone])
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    """Makes people. Staff have a password; students a picture PIN and no password at all."""

    def create_staff(self, school: School, username: str, role: str, password: str, display_name: str) -> User:
        if role not in STAFF_ROLES:
            raise ValueError(f"{role} is not a staff role")
        user = self.model(school=school, username=username, role=role, display_name=display_name)
        user.set_password(password)
        user.full_clean(exclude=["password"])
        user.save(using=self._db)
        return user

    def create_student(self, school: School, nickname: str) -> User:
        user = self.model(school=school, username=None, role=Role.STUDENT, display_name=nickname)
        user.set_unusable_password()
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(username__iexact=username)


class User(AbstractBaseUser):
    """A person of one school. ``display_name`` is a nickname for students; no e-mail is kept."""

    school = models.ForeignKey(School, on_delete=models.CASCADE, related_name="people")
    role = models.CharField(max_length=16, choices=Role.choices)
    username = models.CharField(max_length=64, unique=True, null=True, blank=True)  # students have none
    display_name = models.CharField(max_length=64)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    # students only: the picture PIN, hashed like a password, and the lock after wrong tries
    pin = models.CharField(max_length=256, blank=True)
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)

    objects = UserManager()
    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role=Role.STUDENT) | models.Q(username__isnull=False),
                name="staff_have_a_username",
            )
        ]

    def __str__(self) -> str:
        return self.display_name

    @property
    def is_student(self) -> bool:
        return self.role == Role.STUDENT

    @property
    def is_teacher(self) -> bool:
        return self.role == Role.TEACHER

    @property
    def is_technician(self) -> bool:
        return self.role == Role.TECHNICIAN

    @property
    def is_administrator(self) -> bool:
        return self.role == Role.ADMINISTRATOR

    @property
    def is_staff_member(self) -> bool:
        return self.role in STAFF_ROLES
