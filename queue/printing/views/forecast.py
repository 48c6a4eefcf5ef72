"""How sure each lab day is, and what would help."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from makerlab.http import SignedInRequest
from printing import queries
from printing.actions.ground import PLAN_OUTLOOK
from printing.forecast_page import forecasts
from printing.models import RoomPlan
from printing.views.common import is_fragment
from printing.views.plan import visible_room

PAGE = "printing/forecast.html"


@require_safe
def room_forecast(request: SignedInRequest, pk: int) -> HttpResponse:
    """Asks again while something is worked out; 204 while it sees the same."""
    plan = RoomPlan.objects.visible_to(request.user).filter(room=pk).select_related("room__school").first()
    room = plan.room if plan else visible_room(request, pk)
    known = bool(plan and "outlook" in plan.facts)
    jobs = queries.jobs_of(room, plan)
    job, busy = jobs.get(PLAN_OUTLOOK), bool(jobs.keys() - {queries.FAILED})
    token = f"{plan.pk if plan else 0}.{int(known)}.{int(busy)}.{round(job.progress * 20) if job else ''}"
    if is_fragment(request) and request.GET.get("since") == token:
        return HttpResponse(status=204)
    context = {
        "room": room,
        "plan": plan,
        "rows": forecasts(room, request.user, plan),
        "known": known,
        "job": job,
        "busy": busy,
        "token": token,
        "failing": (plan.facts if plan else {}).get("risk", {}).get("fail_in_100_two_hour_prints"),
    }
    return render(request, f"{PAGE}#board" if is_fragment(request) else PAGE, context)
