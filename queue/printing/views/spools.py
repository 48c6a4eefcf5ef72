"""Spools: what is loaded, what is on the shelf, what is left."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.db.models import Q, Sum
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from makerlab.components.figures import grams
from makerlab.http import SignedInRequest
from planning.learned import Learned
from planning.spools import Weighed
from printing import actions, permissions, queries
from printing.forms import EmptyForm, LoadForm, OfASpool, SpoolForm, WeighForm
from printing.learning import learn
from printing.models import Plate, Printer, Room, Spool
from printing.outlook import Outlook, will_it_last
from printing.states import Outcome
from printing.views.common import do, one, own_room

PAGE = "printing/spool_list.html"


def page(
    request: SignedInRequest,
    new: SpoolForm | None = None,
    wrong: dict[int, Any] | None = None,
    wrong_about: dict[int, Any] | None = None,
    empty: EmptyForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """All spools, each with its forms; ``wrong`` and ``wrong_about`` map a spool to the bound form that was refused."""
    room = own_room(request)
    context: dict[str, Any] = {"room": room}
    if room:
        spools = list(Spool.objects.visible_to(request.user).filter(room=room).select_related("printer"))
        spools.sort(key=lambda spool: (spool.printer is None, spool.printer.position if spool.printer else 0, spool.pk))
        printing_g = Sum("runs__estimate_g", filter=Q(runs__outcome=Outcome.RUNNING))
        found = Printer.objects.visible_to(request.user).filter(room=room).annotate(printing_g=printing_g)
        printers = [(printer.pk, str(printer)) for printer in found]
        following = next_plates(room)
        learned = learn(room.pk)
        running_g: dict[int, float] = {printer.pk: printer.printing_g or 0.0 for printer in found}
        wrong, wrong_about = wrong or {}, wrong_about or {}
        context |= {
            "lines": [
                {
                    "spool": spool,
                    "next": following.get(spool.printer_id or 0),
                    "outlook": outlook_of(spool, following.get(spool.printer_id or 0), learned, running_g),
                    "width": round(19 * min(1.0, spool.grams_left / spool.grams_full), 1) if spool.grams_full else 0,
                    "weigh": wrong.get(spool.pk) or WeighForm(prefix=f"w{spool.pk}"),
                    "load": LoadForm(spool=spool, prefix=f"l{spool.pk}", choices=printers),
                    "about": wrong_about.get(spool.pk) or OfASpool(prefix=f"d{spool.pk}", initial=known_of(spool)),
                    "about_open": spool.pk in wrong_about,
                }
                for spool in spools
            ],
            "new": new or SpoolForm(prefix="new"),
            "empties": list(room.empty_spools.all()),
            "empty": empty or EmptyForm(prefix="empty"),
            "can_work": permissions.can_work_at_bench(request.user, room),
        }
    return render(request, PAGE, context, status=status)


def known_of(spool: Spool) -> dict[str, Any]:
    """What the form about a spool begins with."""
    return {"maker": spool.maker, "tare_g": spool.tare_g, "price_per_kg": spool.price_per_kg}


def next_plates(room: Room) -> dict[int, Plate]:
    """Printer -> the next plate planned on it."""
    following: dict[int, Plate] = {}
    for plate in queries.planned_plates(room):
        if plate.printer_id and plate.setup_at:
            following.setdefault(plate.printer_id, plate)
    return following


def outlook_of(spool: Spool, plate: Plate | None, learned: Learned, running_g: Mapping[int, float]) -> Outlook | None:
    """Whether the loaded spool lasts for the next plate on its printer, after what the printer prints now; None when
    there is none or it wants another."""
    if plate is None or spool.printer is None or (spool.material, spool.colour) != (plate.material, plate.colour):
        return None
    return will_it_last(plate, spool.printer, spool, learned, running_g.get(spool.printer.pk, 0.0))


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
    found: list[Weighed] = []
    if do(request, lambda: found.append(actions.weigh_spool(spool, form.cleaned_data["gross_g"], request.user))):
        left = found[0]
        said = _("%(spool)s: %(grams)s left, give or take %(spread)s.")
        figures = {"grams": grams(left.grams), "spread": grams((left.high_g - left.low_g) / 2)}
        messages.success(request, said % {"spool": capfirst(str(spool)), **figures})
        if left.remark:
            messages.warning(request, left.remark)
    return redirect("printing:spool-list")


@require_POST
def spool_describe(request: SignedInRequest, pk: int) -> HttpResponse:
    """Whose it is, what it weighs empty, what a kilogram cost."""
    spool = one(Spool.objects.editable_by(request.user).select_related("room"), pk)
    form = OfASpool(request.POST, prefix=f"d{spool.pk}")
    if not form.is_valid():
        return page(request, wrong_about={spool.pk: form}, status=422)
    said = _("%(spool)s: noted.") % {"spool": capfirst(str(spool))}
    do(request, lambda: actions.describe_spool(spool, request.user, **form.cleaned_data), said)
    return redirect("printing:spool-list")


@require_POST
def spool_weigh_empty(request: SignedInRequest) -> HttpResponse:
    """Note what an empty spool of a kind weighs."""
    room = own_room(request)
    form = EmptyForm(request.POST, prefix="empty")
    if room is None or not form.is_valid():
        return page(request, empty=form, status=422)
    taken: list[int] = []
    if do(request, lambda: taken.append(actions.weigh_empty(room, request.user, **form.cleaned_data))):
        count = taken[0]
        said = ngettext("Noted. %(count)d spool takes it over.", "Noted. %(count)d spools take it over.", count)
        messages.success(request, said % {"count": count})
    return redirect("printing:spool-list")
