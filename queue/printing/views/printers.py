"""One printer: how true its estimates are, and how it has failed."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Max, Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from planning.failures import two_hour_share
from planning.learned import ASSUMED
from printing import actions, permissions
from printing.learning import learn
from printing.models import Printer, Upkeep
from printing.printer_page import ended_runs_of, sheet_of
from printing.upkeep_page import upkeep_of
from printing.views.common import do, one

PAGE = "printing/printer_detail.html"


@require_safe
def printer_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """Estimates against what happened, by material; the material with most runs unless another is asked for."""
    came_back = Max("outages__until", filter=Q(outages__until__lte=timezone.now()))
    printers = Printer.objects.visible_to(request.user).select_related("kind", "room", "spool")
    printer: Printer = one(printers.annotate(last_out=came_back), pk)
    runs = ended_runs_of(printer)
    learned = learn(printer.room_id)
    spool = getattr(printer, "spool", None)
    materials = learned.materials(printer.pk) or [spool.material if spool else "PLA"]
    asked = request.GET.get("material", "")
    material = asked if asked in materials else materials[0]
    context = {
        "printer": printer,
        "materials": materials if len(materials) > 1 else [],
        "sheet": sheet_of(printer, material, learned, runs),
        "assumed_share": two_hour_share(ASSUMED),
        "last_out": printer.last_out,  # type: ignore[attr-defined]  # annotated above
        "upkeep": upkeep_of(printer, runs),
        "works": Upkeep.Work.choices,
        "can_work": permissions.can_work_at_bench(request.user, printer.room),
    }
    return render(request, PAGE, context)


@require_POST
def printer_upkeep(request: SignedInRequest, pk: int) -> HttpResponse:
    """Note what was done to it."""
    printer: Printer = one(Printer.objects.editable_by(request.user).select_related("room"), pk)
    work, note = request.POST.get("work", ""), request.POST.get("note", "")
    if work not in Upkeep.Work.values:
        messages.error(request, _("Say what was done."))
    else:
        said = _("%(printer)s: noted.") % {"printer": printer}
        do(request, lambda: actions.note_upkeep(printer, request.user, work, note), said)
    return redirect("printing:printer-detail", pk=printer.pk)
