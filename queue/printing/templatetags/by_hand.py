"""The card that says how a plate was laid out."""

from __future__ import annotations

from typing import Any

from django import template
from django.core.exceptions import PermissionDenied
from django.template.context import Context

from printing import permissions
from printing.models import Plate
from printing.states import NotAllowedNow

register = template.Library()


@register.inclusion_tag("printing/plate_by_hand.html", takes_context=True)
def plate_by_hand(context: Context, plate: Plate) -> dict[str, Any]:
    """By whom it was laid out, and for who may, the way to do it by hand."""
    request = context["request"]
    why_not, can_arrange = "", True
    try:
        permissions.check_can_arrange(request.user, plate)
    except PermissionDenied:
        can_arrange = False
    except NotAllowedNow as told:
        why_not, can_arrange = str(told), False
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "plate": plate,
        "can_arrange": can_arrange,
        "why_not": why_not,
        "working": context["working"],
    }
