"""What staff do about the plan: choose a plate size, note what they have seen, extra hours."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from makerlab.http import SignedInRequest
from printing import actions, permissions
from printing.models import ExtraHours, Room
from printing.plan_forms import ExtraHoursForm
from printing.states import NotAllowedNow
from printing.views.common import do, one
from printing.views.room import show_plan

BACK = {"room-plan", "bench"}


def visible_room(request: SignedInRequest, pk: int) -> Room:
    room: Room = one(Room.objects.visible_to(request.user).select_related("school"), pk)
    return room


@require_POST
def room_plate_size(request: SignedInRequest, pk: int) -> HttpResponse:
    """Lay the room out in that way, or, with an empty code, in the best."""
    room, code = visible_room(request, pk), request.POST.get("code", "")
    said = (
        _("The room is laid out anew in that way; the page follows.") if code else _("The plan chooses the size again.")
    )
    do(request, lambda: actions.choose_plate_size(room, request.user, code), said)
    return redirect("printing:room-plan")


@require_POST
def room_seen(request: SignedInRequest, pk: int) -> HttpResponse:
    """This person has read what changed."""
    room = visible_room(request, pk)
    plan_id = request.POST.get("plan", "")
    if plan_id.isdigit():
        do(request, lambda: actions.note_look(room, request.user, int(plan_id)))
    back = request.POST.get("back", "")
    return redirect(f"printing:{back}" if back in BACK else "printing:room-plan")


@require_POST
def room_hours_add(request: SignedInRequest, pk: int) -> HttpResponse:
    """An evening, a Saturday."""
    room = visible_room(request, pk)
    if not permissions.can_set_hours(request.user, room):
        raise Http404
    form = ExtraHoursForm(request.POST)
    if form.is_valid():
        values = form.cleaned_data
        try:
            actions.add_extra_hours(
                room, request.user, values["date"], values["starts_at"], values["ends_at"], values["staff"]
            )
        except PermissionDenied as error:
            raise Http404 from error
        except NotAllowedNow as told:
            form.add_error(None, str(told))
        else:
            do(request, lambda: None, _("The extra hours are noted; the room is planned again."))
            return redirect("printing:room-plan")
    return show_plan(request, room, status=422, hours_form=form)


@require_POST
def hours_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Nobody comes then after all."""
    span = one(ExtraHours.objects.editable_by(request.user).select_related("room__school"), pk)
    said = _("The extra hours are removed; the room is planned again.")
    do(request, lambda: actions.remove_extra_hours(span, request.user), said)
    return redirect("printing:room-plan")
