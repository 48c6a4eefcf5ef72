"""Pages of the site itself."""

from __future__ import annotations

import sys
from urllib.parse import quote

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import get_template
from django.views.decorators.http import require_POST
from django.views.i18n import set_language

from makerlab import styleguide
from makerlab.accounts.models import Role
from makerlab.health.troubles import DATABASE, OURS, trouble_of
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
        raise Http404
    return render(request, "styleguide/page.html", {**styleguide.context(), "views": styleguide.views(request.user)})


@login_not_required
@require_POST
def language(request: HttpRequest) -> HttpResponse:
    """Keep the language chosen in a cookie and go back to the page it was chosen on, on this site only."""
    return set_language(request)


def broke(request: HttpRequest) -> HttpResponse:
    """What a person sees of an error nobody caught. Made without the request: what broke may break again. Scripts find
    the words and the number in the headers."""
    incident, trouble = getattr(request, "incident", ""), trouble_of(sys.exc_info()[1])
    page = get_template("500.html").render({"incident": incident, "trouble": trouble})
    response = HttpResponse(page, status=trouble.status, headers={"Makerlab-Incident": incident})
    if trouble is not OURS:
        response.headers["Makerlab-Said"] = quote(str(trouble.words))
    if trouble is DATABASE:
        response.headers["Retry-After"] = "30"
    return response
