"""Schools and the people in them."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar
from zoneinfo import available_timezones

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.sealed import SealedField


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
    # a class, after it was archived; then it is deleted
    keep_days = models.PositiveSmallIntegerField(default=60, db_default=60)
    second_step_required = models.BooleanField(default=False, db_default=False)  # of administrators, when they sign in
    store_max_mb = models.PositiveIntegerField(null=True, blank=True)  # of all its files; empty: as all schools

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

    def note_given_password(self, user: User) -> None:
        """The password is on paper: whoever signs in with it chooses another one first."""
        user.password_given_at = timezone.now()
        user.save(update_fields=["password_given_at"])

    def create_student(self, school: School, nickname: str) -> User:
        user = self.model(school=school, username=None, role=Role.STUDENT, display_name=nickname)
        user.set_unusable_password()
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(username__iexact=username)


class User(AbstractBaseUser):
    """A person of one school. ``display_name`` is a nickname for students; e-mail only in ``ServiceAccount``."""

    school = models.ForeignKey(School, on_delete=models.CASCADE, related_name="people")
    role = models.CharField(max_length=16, choices=Role.choices)
    username = models.CharField(max_length=64, unique=True, null=True, blank=True)  # students have none
    display_name = models.CharField(max_length=64)
    is_active = models.BooleanField(default=True)
    password_given_at = models.DateTimeField(null=True, blank=True)  # on paper, to be changed at the first sign-in
    session_epoch = models.PositiveIntegerField(default=0, db_default=0)  # sessions of an earlier one are over
    # administrators only, given by a command: may besides make schools and set their stores (makerlab.district)
    runs_district = models.BooleanField(default=False, db_default=False)
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

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session holds to be valid: of the password, as in Django, and of ``session_epoch``."""
        text = f"{self.password}:{self.session_epoch}" if self.session_epoch else self.password
        return salted_hmac("makerlab.accounts.session", text, secret=secret, algorithm="sha256").hexdigest()

    def end_sessions(self) -> None:
        """Every session of this person is over from now on."""
        User.objects.filter(pk=self.pk).update(session_epoch=models.F("session_epoch") + 1)
        self.refresh_from_db(fields=["session_epoch"])

    def given_password_is_over(self) -> bool:
        """Whether a password on paper was not used in time."""
        days = timedelta(days=settings.GIVEN_PASSWORD_DAYS)
        return self.password_given_at is not None and self.password_given_at + days < timezone.now()

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


class SecondStep(models.Model):
    """The secret a member of staff shares with an authenticator app; asked for once ``confirmed_at`` is set."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="second_step")
    secret = SealedField()  # base32
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_counter = models.BigIntegerField(default=-1)  # the half minute of the last code taken: none opens twice

    def __str__(self) -> str:
        return f"second step of {self.user}"


class RecoveryCode(models.Model):
    """A paper code that stands for the phone once. Only a keyed digest is kept."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="recovery_codes")
    digest = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "digest"], name="one_recovery_code")]

    def __str__(self) -> str:
        return f"recovery code of {self.user}"


class ServiceAccount(models.Model):
    """By what the school's sign-in service (OpenID Connect) knows a member of staff, as an administrator entered it.

    ``email`` opens until the first sign-in with it, which keeps the service's own name for the person in ``subject``.
    """

    LONGEST = 254  # of an e-mail address (RFC 3696, erratum 1690); a subject has at most 255 (OpenID Connect Core, 2)

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="service_account")
    email = models.CharField(max_length=LONGEST, blank=True)
    issuer = models.CharField(max_length=254, blank=True)
    subject = models.CharField(max_length=255, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["email"], condition=~models.Q(email=""), name="one_person_an_email"),
            models.UniqueConstraint(
                fields=["issuer", "subject"], condition=~models.Q(subject=""), name="one_person_a_subject"
            ),
        ]

    def __str__(self) -> str:
        return f"service account of {self.user}"

    @property
    def known_as(self) -> str:
        """What the administrator entered."""
        return self.email or self.subject


class Tally(models.Model):
    """How often something was tried in one span of time; ``key`` is a keyed hash of what and who."""

    key = models.CharField(max_length=64, unique=True)
    count = models.PositiveIntegerField(default=0)
    ends_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"{self.count} until {self.ends_at:%H:%M}"
