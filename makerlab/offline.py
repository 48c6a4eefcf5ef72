"""Looking without a connection: which pages a student's browser may keep, until when, and who tells it to forget.

A browser keeps nothing of ours by itself (``no-store``: school machines are shared). A student's own pages may be kept
by our worker in the browser (static/makerlab/offline.js) until the session ends, so that a dropped connection still
shows them. The first page that nobody is signed in for, and that is the one after signing out, makes it forget all.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from makerlab.accounts.middleware import SINCE

KEPT = frozenset({"submissions:part-list", "submissions:submission-report", "lessons:lab-list", "lessons:lab-sheet"})
UNTIL, SAID, FORGET = "Makerlab-Keep-Until", "Makerlab-Kept", "Makerlab-Forget"
WORKER = Path(__file__).parent / "static" / "makerlab" / "js" / "offline.js"


def may_be_kept(request: HttpRequest) -> bool:
    """Whether this is a whole page of a student's own. Fragments are not kept: they follow the page."""
    match, htmx, user = request.resolver_match, getattr(request, "htmx", None), request.user
    whole = not htmx or htmx.boosted
    named = match is not None and match.view_name in KEPT
    return request.method == "GET" and named and whole and user.is_authenticated and user.is_student


def kept_pages(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware, behind the one of the school's time: says with each page whether it may be kept."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if not request.user.is_authenticated:
            response.headers[FORGET] = "1"
        elif response.status_code == 200 and may_be_kept(request):
            until = request.session.get(SINCE, 0) + settings.STUDENT_SESSION_S
            clock = time_format(timezone.localtime(), "TIME_FORMAT")
            said = _("No connection. This is the page as it stood at %(time)s.") % {"time": clock}
            response.headers[UNTIL] = str(int(until))
            response.headers[SAID] = quote(said)
        return response

    return middleware


@login_not_required
def offline_worker(request: HttpRequest) -> HttpResponse:
    """The worker, from the root of the site: what it may look after begins where it lies."""
    return HttpResponse(WORKER.read_bytes(), content_type="text/javascript", headers={"Cache-Control": "no-cache"})
