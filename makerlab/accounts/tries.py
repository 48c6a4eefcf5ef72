"""Wrong tries of staff, as axes keeps them."""

from __future__ import annotations

from typing import Any

from axes.handlers.database import AxesDatabaseHandler
from django.http import HttpRequest

from makerlab.accounts.models import User


class StaffTries(AxesDatabaseHandler):  # type: ignore[misc]  # no types there
    """Students have a lock of their own (lessons.signin): when one signs in there is nothing here to forget."""

    def user_logged_in(self, sender: Any, request: HttpRequest, user: User, **kwargs: Any) -> None:
        if not user.is_student:
            super().user_logged_in(sender, request, user, **kwargs)
