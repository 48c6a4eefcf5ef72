"""An administrator sets the school up: what is missing, the room and its hours, printers and their kinds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Prefetch
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.models import DayKind
from makerlab.http import SignedInRequest
from printing.actions import printers as printer_verbs
from printing.actions import set_up as verbs
from printing.models import Printer, PrinterKind, Room
from printing.set_up.forms import KindForm, PrinterForm, RoomForm, UnattendedForm, kind_initial, room_initial
from printing.set_up.steps import steps_of
from printing.states import NotAllowedNow
from printing.views.common import do, one


def administrator(request: SignedInRequest) -> None:
    """404 for everybody else: whether a school is set up is theirs to know."""
    if not request.user.is_administrator:
        raise Http404


def saved(form: forms.Form, verb: Callable[[], Any]) -> bool:
    """Whether the verb was done; what refuses it is said on the form."""
    try:
        verb()
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        form.add_error(None, str(told))
        return False
    return True


@require_safe
def set_up(request: SignedInRequest) -> HttpResponse:
    """What the school has and what it still needs, in order."""
    administrator(request)
    printers = Prefetch("printers", Printer.objects.visible_to(request.user).select_related("kind"))
    rooms = list(Room.objects.visible_to(request.user).prefetch_related(printers).order_by("id"))
    steps = steps_of(request.user, rooms[0] if rooms else None)
    context = {
        "steps": steps,
        "next": next((step for step in steps if not step.done), None),
        "left": sum(not step.done for step in steps),
        "rooms": rooms,
        "kinds": list(PrinterKind.objects.visible_to(request.user).order_by("id")),
    }
    return render(request, "printing/set_up/overview.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def room_new(request: SignedInRequest) -> HttpResponse:
    """Add a room."""
    administrator(request)
    return _room(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def room_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a room, its minutes and its hours."""
    administrator(request)
    return _room(request, one(Room.objects.editable_by(request.user), pk))


def _room(request: SignedInRequest, room: Room | None, unattended: UnattendedForm | None = None) -> HttpResponse:
    kinds = list(DayKind.objects.visible_to(request.user).prefetch_related("periods").order_by("id"))
    posted = request.POST if request.method == "POST" and unattended is None else None
    form = RoomForm(posted, kinds=kinds, initial=room_initial(room, kinds))
    if posted is not None and form.is_valid() and saved(form, lambda: _save_room(request, room, form)):
        return redirect("printing:set-up")
    context = {
        "form": form,
        "room": room,
        "kinds": kinds,
        "unattended": unattended or UnattendedForm(initial={"policy": room.unattended_policy if room else ""}),
        "printers": room.printers.select_related("kind") if room else [],
    }
    failed = form.errors or (unattended is not None and unattended.errors)
    return render(request, "printing/set_up/room_edit.html", context, status=422 if failed else 200)


def _save_room(request: SignedInRequest, room: Room | None, form: RoomForm) -> None:
    row = verbs.save_room(request.user, room, form.values(), form.hours())
    messages.success(request, _("%(room)s is saved.") % {"room": row})


@require_POST
def room_unattended(request: SignedInRequest, pk: int) -> HttpResponse:
    """Note or withdraw the written permission for printing with nobody in the room."""
    administrator(request)
    room = one(Room.objects.editable_by(request.user), pk)
    if "withdraw" in request.POST:
        do(request, lambda: verbs.permit_unattended(room, request.user, ""), _("The permission is withdrawn."))
        return redirect("printing:room-edit", pk=room.pk)
    form = UnattendedForm(request.POST)
    if form.is_valid() and saved(
        form, lambda: verbs.permit_unattended(room, request.user, form.cleaned_data["policy"])
    ):
        messages.success(request, _("The permission is noted. Now say which printers may."))
        return redirect("printing:room-edit", pk=room.pk)
    return _room(request, room, form)


@require_POST
def printer_unattended(request: SignedInRequest, pk: int) -> HttpResponse:
    """Whether this printer may print with nobody there."""
    administrator(request)
    printer = one(Printer.objects.editable_by(request.user).select_related("room"), pk)
    allowed = request.POST.get("allowed") == "yes"
    do(request, lambda: printer_verbs.set_unattended(printer, request.user, allowed))
    return redirect("printing:room-edit", pk=printer.room_id)


@require_http_methods(["GET", "HEAD", "POST"])
def printer_new(request: SignedInRequest, pk: int) -> HttpResponse:
    """Put a printer into a room."""
    administrator(request)
    return _printer(request, one(Room.objects.editable_by(request.user), pk), None)


@require_http_methods(["GET", "HEAD", "POST"])
def printer_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a printer's name or kind."""
    administrator(request)
    printer = one(Printer.objects.editable_by(request.user).select_related("room", "kind"), pk)
    return _printer(request, printer.room, printer)


def _printer(request: SignedInRequest, room: Room, printer: Printer | None) -> HttpResponse:
    kinds = PrinterKind.objects.visible_to(request.user).order_by("id")
    initial = {"name": printer.name, "kind": printer.kind_id} if printer else {}
    form = PrinterForm(request.POST if request.method == "POST" else None, kinds=kinds, initial=initial)

    def save() -> None:
        values = form.cleaned_data
        row = printer_verbs.save_printer(request.user, room, printer, values["name"], values["kind"])
        messages.success(request, _("%(printer)s is saved. Load a spool on it next.") % {"printer": row})

    if request.method == "POST" and form.is_valid() and saved(form, save):
        return redirect("printing:set-up")
    context = {"form": form, "room": room, "printer": printer, "kinds": kinds}
    return render(request, "printing/set_up/printer_edit.html", context, status=422 if form.errors else 200)


@require_POST
def printer_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """A printer that never printed."""
    administrator(request)
    printer = one(Printer.objects.editable_by(request.user).select_related("room"), pk)
    said = _("%(printer)s is taken away.") % {"printer": printer}
    if do(request, lambda: printer_verbs.remove_printer(printer, request.user), said):
        return redirect("printing:set-up")
    return redirect("printing:printer-edit", pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def kind_new(request: SignedInRequest) -> HttpResponse:
    """Describe a kind of printer."""
    administrator(request)
    return _kind(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def kind_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a kind of printer."""
    administrator(request)
    return _kind(request, one(PrinterKind.objects.editable_by(request.user), pk))


def _kind(request: SignedInRequest, kind: PrinterKind | None) -> HttpResponse:
    form = KindForm(request.POST if request.method == "POST" else None, initial=kind_initial(kind))

    def save() -> None:
        row = verbs.save_kind(request.user, kind, form.values(), form.machine(kind.machine if kind else {}))
        messages.success(request, _("%(kind)s is saved.") % {"kind": row})

    if request.method == "POST" and form.is_valid() and saved(form, save):
        return redirect("printing:set-up")
    return render(
        request, "printing/set_up/kind_edit.html", {"form": form, "kind": kind}, status=422 if form.errors else 200
    )


@require_POST
def kind_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """A kind no printer is of."""
    administrator(request)
    kind = one(PrinterKind.objects.editable_by(request.user), pk)
    if do(request, lambda: verbs.remove_kind(kind, request.user), _("%(kind)s is removed.") % {"kind": kind}):
        return redirect("printing:set-up")
    return redirect("printing:kind-edit", pk=pk)
