"""How students sign in: class code, nickname and a picture PIN. No e-mail, no password."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.hashers import PBKDF2PasswordHasher, get_hasher, identify_hasher, make_password
from django.db import transaction
from django.db.models import Exists, F, OuterRef, QuerySet
from django.http import HttpRequest
from django.utils import timezone

from lessons.models import Membership
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.prepared import Prepared

# names of symbols in our icon sprite; a PIN is four of them in order: 12^4 = 20,736, with a lock after wrong tries
PICTURES = (
    "cart",
    "clock",
    "flag",
    "ruler",
    "gear",
    "spool",
    "b-wren",
    "b-heron",
    "b-kestrel",
    "b-dipper",
    "b-swift",
    "tray",
)
PIN_LENGTH = 4
PIN_ROUNDS = 100_000
FREE_TRIES = 5
FIRST_LOCK_S = 30
LONGEST_LOCK_S = 3600


class Locked(Exception):
    """Too many wrong tries for this student. ``until`` says when the next is allowed."""

    def __init__(self, until: Any) -> None:
        super().__init__("locked")
        self.until = until


class JoiningClosed(Exception):
    """Everything was right, but the class takes nobody who has not signed in before."""


def is_pin(value: str) -> bool:
    """Whether the text is four of our pictures joined by commas."""
    names = value.split(",")
    return len(names) == PIN_LENGTH and all(name in PICTURES for name in names)


def hashed_pin(pin: str) -> str:
    """The PIN as it is stored: by the password hash, repeated less often.

    No hash guards 20,736 combinations against somebody who has the database: with Django's million repetitions all of
    them are tried in less than two hours of a core. The lock after wrong tries guards them; a million repetitions would
    cost a class that comes in at the bell half a minute of one.
    """
    hasher = get_hasher()
    if not isinstance(hasher, PBKDF2PasswordHasher):
        return make_password(pin)
    return hasher.encode(pin, hasher.salt(), PIN_ROUNDS)


def set_pin(user: User, pin: str) -> None:
    """Store a student's PIN, hashed. Raises ValueError when it is not four of our pictures."""
    if not is_pin(pin):
        raise ValueError("a picture PIN is four of our pictures")
    User.objects.filter(pk=user.pk).update(pin=hashed_pin(pin), pin_failures=0, pin_locked_until=None)


def _is_pin_of(user: User, pin: str) -> bool:
    """Not by ``check_password``: a wrong one would take as long as a password, longer than an unknown name."""
    return bool(identify_hasher(user.pin).verify(pin, user.pin))


@transaction.atomic
def note_wrong_pin(user: User) -> None:
    """Count a wrong try; after five, lock for 30 s, doubling to an hour (per student: a school is one address).
    Teachers see who is locked on their Today page and on the class's."""
    User.objects.filter(pk=user.pk).update(pin_failures=F("pin_failures") + 1)
    user.refresh_from_db(fields=["pin_failures"])
    over = user.pin_failures - FREE_TRIES
    if over >= 0:
        wait_s = min(LONGEST_LOCK_S, FIRST_LOCK_S * 2 ** min(over, 12))
        User.objects.filter(pk=user.pk).update(pin_locked_until=timezone.now() + timedelta(seconds=wait_s))
        record(user.school_id, None, "lock_student", user, tries=user.pin_failures, wait_s=wait_s)


class ClassCodeBackend(BaseBackend):
    """Class code + nickname + picture PIN. Raises Locked while a student is locked out, JoiningClosed for somebody who
    never signed in while the class is closed to new ones. Nobody whose classes are all archived gets in."""

    def authenticate(
        self,
        request: HttpRequest | None,
        class_code: str | None = None,
        nickname: str | None = None,
        pin: str | None = None,
        **kwargs: Any,
    ) -> User | None:
        if not class_code or not nickname or not pin:
            return None
        member = (
            Membership.objects.select_related("user", "school_class")
            .filter(school_class__code__iexact=class_code.strip(), nickname__iexact=nickname.strip())
            .filter(school_class__archived_at__isnull=True)
            .first()
        )
        if member is None or not member.user.is_active or not member.user.pin:
            hashed_pin(pin)  # so that an unknown name takes as long as a wrong PIN
            return None
        user = member.user
        if user.pin_locked_until and user.pin_locked_until > timezone.now():
            raise Locked(user.pin_locked_until)
        if not _is_pin_of(user, pin):
            note_wrong_pin(user)
            return None
        if user.pin_failures or user.pin_locked_until:
            User.objects.filter(pk=user.pk).update(pin_failures=0, pin_locked_until=None)
        if user.last_login is None and not member.school_class.joining_open:
            raise JoiningClosed
        return user

    def get_user(self, user_id: int) -> User | None:
        return _student.first(user_id)


@Prepared
def _student(user_id: int) -> QuerySet[User]:
    people = User.objects.select_related("school").filter(pk=user_id, is_active=True)
    places = Membership.objects.filter(user=OuterRef("pk"))
    in_use = Exists(places.filter(school_class__archived_at__isnull=True))
    return people.filter(in_use | ~Exists(places))
