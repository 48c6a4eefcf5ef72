"""The calendar feed: the address a calendar program asks, and the page where its owner makes and revokes it."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from lessons.models import SchoolClass
from makerlab.http import SignedInRequest
from printing import actions, permissions
from printing.models import CalendarFeed
from printing.views.common import do, one

PAGE = "printing/calendar_feed.html"


@login_not_required
@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar of whoever the token was made for; 404 for any other. ``?class=`` narrows it to one of their
    classes. No session, no cookie, kept by no proxy."""
    from printing.feed import calendar_of  # and icalendar with it: once in a while, not with every web process

    feed = CalendarFeed.objects.for_token(token)
    if feed is None or not permissions.can_have_feed(feed.user):
        raise Http404
    only = None
    if "class" in request.GET:
        key = request.GET["class"]
        only = one(SchoolClass.objects.visible_to(feed.user), int(key) if key.isdecimal() and len(key) < 10 else 0)
    now = timezone.now()
    CalendarFeed.objects.note_fetched(feed, now)
    with timezone.override(feed.user.school.time_zone):
        body = calendar_of(feed.user, request.build_absolute_uri, now, only)
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="makerlab.ics"'
    response["Cache-Control"] = "private, max-age=300"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response


@never_cache
@require_safe
def calendar_page(request: SignedInRequest) -> HttpResponse:
    """Whether this person has a feed, since when, and whether it was fetched."""
    return page(request)


@never_cache
@require_POST
def calendar_make(request: SignedInRequest) -> HttpResponse:
    """Make or replace the address and show it, this once."""
    try:
        token = actions.make_feed(request.user)
    except PermissionDenied as error:
        raise Http404 from error
    address = request.build_absolute_uri(reverse("printing:calendar-feed", args=[token]))
    return page(request, address)


@require_POST
def calendar_revoke(request: SignedInRequest) -> HttpResponse:
    """Take the address away."""
    do(request, lambda: actions.revoke_feed(request.user), _("The address does not work any more."))
    return redirect("printing:calendar-page")


def page(request: SignedInRequest, address: str = "") -> HttpResponse:
    if not permissions.can_have_feed(request.user):
        raise Http404
    feed = CalendarFeed.objects.of(request.user)
    classes = SchoolClass.objects.editable_by(request.user).filter(archived_at__isnull=True) if address else []
    context = {
        "feed": feed,
        "address": address,
        "at_bench": not request.user.is_teacher,
        "by_class": [(each, f"{address}?class={each.pk}") for each in classes],
    }
    return render(request, PAGE, context)
