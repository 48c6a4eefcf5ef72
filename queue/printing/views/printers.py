"""One printer: how true its estimates are, and how it has failed."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from makerlab.http import SignedInRequest
from planning.failures import two_hour_share
from planning.learned import ASSUMED
from printing.learning import learn
from printing.models import Printer
from printing.printer_page import last_out, sheet_of
from printing.views.common import one

PAGE = "printing/printer_detail.html"


@require_safe
def printer_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """Estimates against what happened, by material; the material with most runs unless another is asked for."""
    printer: Printer = one(Printer.objects.visible_to(request.user).select_related("kind", "room", "spool"), pk)
    learned = learn(printer.room_id)
    spool = getattr(printer, "spool", None)
    materials = learned.materials(printer.pk) or [spool.material if spool else "PLA"]
    asked = request.GET.get("material", "")
    material = asked if asked in materials else materials[0]
    context = {
        "printer": printer,
        "materials": materials if len(materials) > 1 else [],
        "sheet": sheet_of(printer, material, learned),
        "assumed_share": two_hour_share(ASSUMED),
        "last_out": last_out(printer, timezone.now()),
    }
    return render(request, PAGE, context)
