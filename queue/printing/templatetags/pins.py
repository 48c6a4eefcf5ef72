"""The card with which a plate is fixed in the plan."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from printing import permissions, pins
from printing.models import Plate
from printing.plan_forms import PinForm

register = template.Library()


@register.inclusion_tag("printing/plate_pin.html", takes_context=True)
def plate_pin(context: Context, plate: Plate) -> dict[str, Any]:
    """What is fixed about the plate, and for who may, the form. ``pin_form`` of the page is one that was refused."""
    request = context["request"]
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "plate": plate,
        "words": pins.words(plate),
        "passed": pins.has_passed(plate),
        "can_pin": permissions.can_pin(request.user, plate),
        "form": context.get("pin_form") or PinForm(plate=plate, known=context.get("pin_choices")),
    }
