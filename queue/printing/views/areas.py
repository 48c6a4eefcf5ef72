"""The areas of a bed that stay free: a picture, the list, and a form for one more."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from makerlab.http import SignedInRequest
from printing import permissions
from printing.actions import areas as verbs
from printing.bed_areas import AREAS_MOST, kept_free_of
from printing.hand_drawing import draw_bed
from printing.models import Plate, Printer, PrinterKind
from printing.set_up.forms import AreaForm
from printing.states import NotAllowedNow, PlateState
from printing.views.common import do, one

PAGE = "printing/bed_areas.html"


def seen_kind(request: SignedInRequest, pk: int) -> PrinterKind:
    """A kind of the person's school; 404 for students and for other schools."""
    kind: PrinterKind = one(PrinterKind.objects.visible_to(request.user), pk)
    return kind


@require_http_methods(["GET", "HEAD", "POST"])
def kind_areas(request: SignedInRequest, pk: int) -> HttpResponse:
    """All staff look; technicians and administrators add. What refuses an area is said on the form."""
    kind = seen_kind(request, pk)
    may = permissions.can_keep_free(request.user, kind)
    if request.method == "POST" and not may:
        raise Http404
    form = AreaForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            found = verbs.keep_free(kind, request.user, form.area(), form.cleaned_data["words"])
        except PermissionDenied as error:
            raise Http404 from error
        except NotAllowedNow as told:
            form.add_error(None, str(told))
        else:
            _tell(request, found)
            return redirect("printing:kind-areas", pk=kind.pk)
    drawing = draw_bed(kind, [], [], {}, 0.0, {})
    printers = Printer.objects.visible_to(request.user).filter(kind=kind).select_related("room")
    context: dict[str, Any] = {
        "kind": kind,
        "printers": printers.order_by("room_id", "position", "pk"),
        "drawing": drawing,
        "areas": kept_free_of(kind, drawing.kept_free),
        "form": form if may and len(kind.keep_out) < AREAS_MOST else None,
        "may": may,
    }
    return render(request, PAGE, context, status=422 if form.errors else 200)


def _tell(request: SignedInRequest, found: list[Plate]) -> None:
    """What became of the plates that had a part there."""
    messages.success(request, _("That area stays free from now on; the room plan follows."))
    printing = [str(plate) for plate in found if plate.state == PlateState.PRINTING]
    taken = [str(plate) for plate in found if plate.state == PlateState.PLANNED and plate.held]
    planned = [str(plate) for plate in found if plate.state == PlateState.PLANNED and not plate.held]
    if planned:
        messages.info(
            request, _("Laid out anew, since a part stood there: %(plates)s.") % {"plates": ", ".join(planned)}
        )
    if taken:
        messages.warning(
            request,
            _("The file of %(plates)s was taken and has a part there: let it go, so that it is laid out anew.")
            % {"plates": ", ".join(taken)},
        )
    if printing:
        messages.warning(
            request,
            _("Printing just now with a part there: %(plates)s. Go and look.") % {"plates": ", ".join(printing)},
        )


@require_POST
def area_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Parts may stand there again."""
    kind = seen_kind(request, pk)
    said = _("Parts may stand there again; the room plan follows.")
    do(request, lambda: verbs.use_again(kind, request.user, request.POST.get("area", "")), said)
    return redirect("printing:kind-areas", pk=kind.pk)
