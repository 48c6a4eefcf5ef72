"""Who may sign in with a name and a password: staff only."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest

from makerlab.accounts.models import User


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
        if user.is_staff_member and user.check_password(password) and self.user_can_authenticate(user):
            return user
        return None

    def get_user(self, user_id: int) -> User | None:
        return User.objects.select_related("school").filter(pk=user_id, is_active=True).first()
