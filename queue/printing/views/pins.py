"""Fix a plate's printer, start or order, and let it go."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from makerlab.http import SignedInRequest
from printing import actions, permissions
from printing.pins import Pin
from printing.plan_forms import PinForm
from printing.states import NotAllowedNow
from printing.views.common import do
from printing.views.plates import own_plate, page


@require_POST
def plate_pin(request: SignedInRequest, pk: int) -> HttpResponse:
    """Fix it; a pin that cannot hold is refused in place, with the reason."""
    plate = own_plate(request, pk)
    if not permissions.can_pin(request.user, plate):  # 404 for who may not; a sentence when it was started meanwhile
        do(request, lambda: permissions.check_can_pin(request.user, plate))
        return redirect("printing:plate-detail", pk=plate.pk)
    form = PinForm(request.POST, plate=plate)
    if not form.is_valid():
        return page(request, plate, status=422, pin_form=form)
    values = form.cleaned_data
    try:
        actions.pin_plate(plate, request.user, Pin(values["printer"], values["setup_at"], values["after"]))
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        form.add_error(None, str(told))
        return page(request, plate, status=422, pin_form=form)
    messages.success(request, _("%(plate)s is fixed; the room is planned again.") % {"plate": plate})
    return redirect("printing:plate-detail", pk=plate.pk)


@require_POST
def plate_unpin(request: SignedInRequest, pk: int) -> HttpResponse:
    """Let it go: the plan may put it anywhere."""
    plate = own_plate(request, pk)
    said = _("%(plate)s is let go; the room is planned again.") % {"plate": plate}
    do(request, lambda: actions.unpin_plate(plate, request.user), said)
    return redirect("printing:plate-detail", pk=plate.pk)
