"""Pages of the site itself."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect

from makerlab.accounts.models import Role
from makerlab.http import SignedInRequest

LANDING = {
    Role.STUDENT: "submissions:part-list",
    Role.TEACHER: "printing:today",
    Role.TECHNICIAN: "printing:bench",
    Role.ADMINISTRATOR: "printing:today",
}


def home(request: SignedInRequest) -> HttpResponse:
    """Send each role to what needs doing now."""
    return redirect(LANDING[request.user.role])
