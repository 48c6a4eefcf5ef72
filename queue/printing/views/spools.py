"""Spools: what is loaded, what is on the shelf, what is left."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.components.figures import grams
from makerlab.http import SignedInRequest
from printing import actions, permissions, queries
from printing.forms import LoadForm, SpoolForm, WeighForm
from printing.models import Spool
from printing.views.common import do, one, own_room

PAGE = "printing/spool_list.html"


def page(
    request: SignedInRequest, new: SpoolForm | None = None, wrong: dict[int, Any] | None = None, status: int = 200
) -> HttpResponse:
    """All spools, each with its forms; ``wrong`` maps a spool to the bound form that was refused."""
    room = own_room(request)
    context: dict[str, Any] = {"room": room}
    if room:
        spools = list(Spool.objects.visible_to(request.user).filter(room=room).select_related("printer"))
        spools.sort(key=lambda spool: (spool.printer is None, spool.printer.position if spool.printer else 0, spool.pk))
        needs = needed_g(room)
        wrong = wrong or {}
        context |= {
            "lines": [
                {
                    "spool": spool,
                    "low": spool.printer_id in needs and spool.grams_left < needs[spool.printer_id],
                    "need_g": needs.get(spool.printer_id or 0),
                    "width": round(19 * min(1.0, spool.grams_left / spool.grams_full), 1) if spool.grams_full else 0,
                    "weigh": wrong.get(spool.pk) or WeighForm(prefix=f"w{spool.pk}"),
                    "load": LoadForm(spool=spool, prefix=f"l{spool.pk}"),
                }
                for spool in spools
            ],
            "new": new or SpoolForm(prefix="new"),
            "can_work": permissions.can_work_at_bench(request.user, room),
        }
    return render(request, PAGE, context, status=status)


def needed_g(room: Any) -> dict[int, float]:
    """Printer -> grams of the next plate planned on it."""
    needs: dict[int, float] = {}
    for plate in queries.planned_plates(room):
        if plate.printer_id and plate.setup_at:
            needs.setdefault(plate.printer_id, plate.mass_g)
    return needs


@require_safe
def spool_list(request: SignedInRequest) -> HttpResponse:
    return page(request)


@require_POST
def spool_create(request: SignedInRequest) -> HttpResponse:
    """A new spool on the shelf."""
    room = own_room(request)
    form = SpoolForm(request.POST, prefix="new")
    if room is None or not form.is_valid():
        return page(request, new=form, status=422)
    said = _("The new spool is on the shelf.")
    do(request, lambda: actions.add_spool(room, request.user, **form.cleaned_data), said)
    return redirect("printing:spool-list")


@require_POST
def spool_load(request: SignedInRequest, pk: int) -> HttpResponse:
    """Put it on a printer."""
    spool = one(Spool.objects.editable_by(request.user).select_related("room"), pk)
    form = LoadForm(request.POST, spool=spool, prefix=f"l{spool.pk}")
    if not form.is_valid():
        messages.error(request, _("Choose a printer of this room."))
        return redirect("printing:spool-list")
    printer = form.cleaned_data["printer"]
    said = _("%(spool)s is on %(printer)s now.") % {"spool": capfirst(str(spool)), "printer": printer}
    do(request, lambda: actions.load_spool(spool, printer, request.user), said)
    return redirect("printing:spool-list")


@require_POST
def spool_weigh(request: SignedInRequest, pk: int) -> HttpResponse:
    """Note what the scale says."""
    spool = one(Spool.objects.editable_by(request.user).select_related("room"), pk)
    form = WeighForm(request.POST, prefix=f"w{spool.pk}")
    if not form.is_valid():
        return page(request, wrong={spool.pk: form}, status=422)
    left: list[float] = []
    if do(request, lambda: left.append(actions.weigh_spool(spool, form.cleaned_data["gross_g"], request.user))):
        messages.success(
            request, _("%(spool)s: %(grams)s left.") % {"spool": capfirst(str(spool)), "grams": grams(left[0])}
        )
    return redirect("printing:spool-list")
