"""Who may sign in with a name and a password: staff only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from axes.backends import AxesStandaloneBackend
from django.contrib.auth.backends import ModelBackend
from django.db.models import QuerySet
from django.http import HttpRequest

from makerlab.accounts.models import User
from makerlab.prepared import Prepared

# What an app wants known of everybody who is signed in: by name the maker of an expression about a user. It comes with
# the person, in the question every page asks anyway.
told_of_people: dict[str, Callable[[], Any]] = {}


def lock_name(request: HttpRequest | None, credentials: dict[str, Any] | None) -> str:
    """The name a lock is kept under: user names are found in any case, so the lock is one for all of them."""
    given = (credentials or {}).get("username") or ""
    return str(given).strip().casefold()


def is_student_sign_in(request: HttpRequest, credentials: dict[str, Any] | None = None) -> bool:
    """Whether somebody signs in with a class code. Nothing of it goes into the staff's lock, least of all pictures."""
    return "class_code" in (credentials or {})


class StaffLock(AxesStandaloneBackend):  # type: ignore[misc]  # no types there
    """Refuses a user name that was tried too often from this address. Without a request there is no address to lock."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **kwargs: Any
    ) -> None:
        if request is not None and username:
            super().authenticate(request, username=username, password=password, **kwargs)


class StaffBackend(ModelBackend):
    """Name and password, never for students (they have no password and no username)."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **kwargs: Any
    ) -> User | None:
        if not username or not password:
            return None
        user = User.objects.filter(username__iexact=username).first()
        if user is None:
            User().set_password(password)  # so that an unknown name takes as long as a wrong password
            return None
        if (
            user.is_staff_member
            and user.check_password(password)
            and not user.given_password_is_over()
            and self.user_can_authenticate(user)
        ):
            return user
        return None

    def get_user(self, user_id: int) -> User | None:
        """With the school, which every page tells, and what the apps tell of people."""
        return _person.first(user_id)


@Prepared
def _person(user_id: int) -> QuerySet[User]:
    told = {name: expression() for name, expression in told_of_people.items()}
    return User.objects.select_related("school").annotate(**told).filter(pk=user_id, is_active=True)
