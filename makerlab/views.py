"""Pages of the site itself."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render

from makerlab import styleguide
from makerlab.accounts.models import Role
from makerlab.http import SignedInRequest

LANDING = {
    Role.STUDENT: "submissions:part-list",
    Role.TEACHER: "printing:today",
    Role.TECHNICIAN: "printing:bench",
    Role.ADMINISTRATOR: "printing:today",
}


def home(request: SignedInRequest) -> HttpResponse:
    """Send each role to what needs doing now: in a school without a room, that is setting it up."""
    if request.user.is_administrator and not request.user.school.rooms.exists():
        return redirect("printing:set-up")
    return redirect(LANDING[Role(request.user.role)])


def style_guide(request: SignedInRequest) -> HttpResponse:
    """Every component in every state, for those who build pages; in the demo for everybody."""
    if not (request.user.is_staff_member or settings.DEMO):
        raise PermissionDenied
    return render(request, "styleguide/page.html", styleguide.context())
