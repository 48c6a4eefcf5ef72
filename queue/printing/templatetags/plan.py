"""What staff do about the plan: the table of plate sizes, what changed, extra hours."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from printing import permissions, queries
from printing.changes_page import changes_for
from printing.models import Room, RoomPlan
from printing.plan_forms import ExtraHoursForm
from printing.sizes_page import size_rows, way_words

register = template.Library()


def _shared(context: Context, room: Room) -> dict[str, Any]:
    return {"request": context["request"], "csrf_token": context.get("csrf_token"), "room": room}


@register.inclusion_tag("printing/plate_sizes.html", takes_context=True)
def plate_sizes(context: Context, room: Room, plan: RoomPlan | None) -> dict[str, Any]:
    """Every plate size that was tried, the recommended one marked, each to be chosen."""
    facts = plan.facts if plan else {}
    return _shared(context, room) | {
        "rows": size_rows(room, context["request"].user, plan, context.get("names")),
        "wanted": way_words(room.plate_size) if room.plate_size else "",
        "failing": facts.get("risk", {}).get("fail_in_100_two_hour_prints"),
        "made_at": parse_datetime(facts["sizes_at"]) if facts.get("sizes_at") else None,
        "stale": facts.get("is_first_answer", False),
    }


@register.inclusion_tag("printing/plan_changes.html", takes_context=True)
def plan_changes(context: Context, room: Room, back: str = "room-plan") -> dict[str, Any]:
    """What changed since this person last looked; ``back``: the page to come back to."""
    # a page that has read the newest plan, its jobs and how the room stands is not made to ask again
    known, stands = context.get("plan"), context.get("stands")
    newest = known if isinstance(known, RoomPlan) and known.room_id == room.pk else queries.newest_plan(room)
    planned, printers = (stands.plates, stands.printers) if stands else (None, None)
    return _shared(context, room) | {
        "changes": changes_for(room, context["request"].user, None, newest, planned, printers, context.get("unseen")),
        "improving": context["improving"] if "improving" in context else queries.improving_job(room),
        "back": back,
    }


@register.inclusion_tag("printing/extra_hours.html", takes_context=True)
def extra_hours(context: Context, room: Room) -> dict[str, Any]:
    """The evenings and other single dates ahead; for who may, the form that adds one."""
    today = timezone.localdate()
    evenings = context["evenings"] if "evenings" in context else room.extra_hours.all()
    return _shared(context, room) | {
        "spans": [span for span in evenings if span.date >= today],
        "can_set": permissions.can_set_hours(context["request"].user, room),
        "form": context.get("hours_form") or ExtraHoursForm(),
    }
