"""Files a technician prepared for a plate with the printer's own program."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.text import get_valid_filename
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from makerlab.files import attachment
from makerlab.http import SignedInRequest
from printing import permissions
from printing.actions.prepared import bring_prepared, use_prepared, withdraw_prepared
from printing.models import PreparedFile
from printing.prepared_forms import PreparedForm
from printing.prepared_page import section
from printing.states import NotAllowedNow
from printing.views.common import do, one
from printing.views.plates import own_plate, page


@require_http_methods(["GET", "HEAD", "POST"])
def plate_prepared(request: SignedInRequest, pk: int) -> HttpResponse:
    """GET: the section of the page, which asks again while a file is read. POST: bring a file."""
    plate = own_plate(request, pk)
    if request.method != "POST":
        return render(request, "printing/plate_prepared.html", section(plate, request.user))
    try:
        permissions.check_can_work_at_bench(request.user, plate.room)
    except PermissionDenied as error:
        raise Http404 from error
    form = PreparedForm(request.POST, request.FILES, plate=plate)
    if not form.is_valid():
        return page(request, plate, status=422, prepared_form=form)
    values: dict[str, Any] = form.cleaned_data
    try:
        bring_prepared(plate, values["kind"], values["dialect"], values["file"], request.user)
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        form.add_error("file", str(told))
        return page(request, plate, status=422, prepared_form=form)
    return redirect(f"{plate_address(plate.pk)}#prepared")


def plate_address(pk: int) -> str:
    return reverse("printing:plate-detail", args=[pk])


def own_file(request: SignedInRequest, pk: int) -> PreparedFile:
    rows = PreparedFile.objects.visible_to(request.user).select_related("plate__room__school", "kind")
    prepared: PreparedFile = one(rows, pk)
    return prepared


@require_POST
def prepared_use(request: SignedInRequest, pk: int) -> HttpResponse:
    """Let the file stand for its plate."""
    prepared = own_file(request, pk)
    said = _("The file stands for %(plate)s. The room is planned with it.") % {"plate": prepared.plate}
    do(request, lambda: use_prepared(prepared, request.user, compared="compared" in request.POST), said)
    return redirect(f"{plate_address(prepared.plate_id)}#prepared")


@require_POST
def prepared_withdraw(request: SignedInRequest, pk: int) -> HttpResponse:
    """Our own estimate counts again."""
    prepared = own_file(request, pk)
    said = _("The file stands no longer; the plate goes by our own estimate.")
    do(request, lambda: withdraw_prepared(prepared, request.user), said)
    return redirect(f"{plate_address(prepared.plate_id)}#prepared")


@require_safe
def prepared_file(request: SignedInRequest, pk: int) -> FileResponse:
    """The file as it was uploaded, as a download that no browser opens by itself."""
    prepared = own_file(request, pk)
    return attachment(prepared.file, get_valid_filename(prepared.file_name))
