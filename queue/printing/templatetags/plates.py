"""What stands on a plate's page beside its drawing and its start."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django import template
from django.template.context import Context

from lessons.print_settings import in_force
from lessons.settings_page import lines
from meshcheck.materials import MATERIALS
from meshcheck.types import PrintSettings
from printing.models import Plate
from printing.prepared_page import section

register = template.Library()


@register.inclusion_tag("printing/plate_inside.html")
def plate_inside(plate: Plate) -> dict[str, Any]:
    """The layers of the plate, shown when asked for."""
    return {"plate": plate}


@register.inclusion_tag("printing/plate_settings.html", takes_context=True)
def plate_settings(context: Context, plate: Plate) -> dict[str, Any]:
    """How the plate is printed, for whoever prepares its file, and whether its parts are to be printed otherwise."""
    defaults = asdict(PrintSettings())
    values = {**defaults, **plate.settings}
    return {"plate": plate, "lines": lines(values, defaults), "outdated": plate.held and is_outdated(context, values)}


def is_outdated(context: Context, values: dict[str, Any]) -> bool:
    """Whether a copy on the plate is to be printed with other settings than the plate is."""
    pairs = {(copy.request.kit_part, copy.request.assignment) for copy in context.get("copies") or ()}
    for kit_part, assignment in pairs:
        try:
            if asdict(in_force(kit_part, assignment)) != values:
                return True
        except (ValueError, TypeError):
            return True
    return False


@register.inclusion_tag("printing/plate_prepared.html", takes_context=True)
def plate_prepared(context: Context, plate: Plate) -> dict[str, Any]:
    """The files prepared for the plate, and the form that brings one; ``prepared_form`` of the page is one refused."""
    request = context["request"]
    shared = {"request": request, "csrf_token": context.get("csrf_token")}
    return {**shared, **section(plate, request.user, context.get("prepared_form"), context.get("printers"))}


@register.filter
def bed_range(material: str) -> tuple[int, int] | None:
    """The usual bed temperatures of a material in degrees Celsius, lowest and highest; None of one we do not know."""
    known = MATERIALS.get(material)
    return known.bed_c if known else None
