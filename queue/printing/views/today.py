"""The teacher's page: what needs a decision now."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest, count_of
from printing import actions, queries, today_page
from printing.actions.ground import PLAN_ROOM
from printing.bench_page import printer_cards, standing
from printing.today_read import read_day
from printing.views.common import do, is_fragment, own_room

PAGE = "printing/today.html"


@require_safe
def today(request: SignedInRequest) -> HttpResponse:
    """What to decide, how the next meetings stand, what the printers do. Asks again while something moves."""
    if request.user.is_technician or request.user.is_student:
        return redirect("home")
    room = own_room(request)
    now = timezone.now()
    since = request.GET.get("since") if is_fragment(request) else None
    if room and since and since == queries.board_token(room, queries.planning_job(room), now=now):
        return HttpResponse(status=204)
    plan = queries.newest_plan(room) if room else None
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    stands = standing(room, now, midnight) if room else None
    cards = printer_cards(stands, now) if stands else []
    day = read_day(request.user, room, plan, now)
    job = day.jobs.get(PLAN_ROOM)
    count_of(request, "submissions:review-list", len(day.handed_in))
    decisions = today_page.decisions(day, stands, plan, cards, now)
    context = {
        "room": room,
        "token": queries.board_token(room, job, now=now) if room else "",
        "planning": job,
        "plan": plan,
        "decisions": decisions,
        "heading": heading(len(decisions)),
        "meetings": today_page.meeting_rows(day, plan),
        "risk": (plan.facts if plan else {}).get("risk"),
        "cards": cards,
        "counts": today_page.day_counts(stands.ended) if stands else None,
        "greeting": greeting(timezone.localtime(now).hour, request.user.display_name),
    }
    return render(request, f"{PAGE}#board" if is_fragment(request) else PAGE, context)


def heading(count: int) -> str:
    """The title says the state."""
    if not count:
        return _("Nothing needs you")
    return ngettext("One thing needs you", "%(count)d things need you", count) % {"count": count}


def greeting(hour: int, name: str) -> str:
    words = _("Good morning, %(name)s") if hour < 12 else _("Good afternoon, %(name)s")
    return words % {"name": name}


@require_POST
def request_missing(request: SignedInRequest) -> HttpResponse:
    """Order what was approved before there was a room."""
    for submission in queries.unordered(request.user):
        do(request, lambda submission=submission: actions.order_kit(submission, request.user))  # type: ignore[misc]
    return redirect("printing:today")
