"""One plate: its drawing, its files, and the start."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.files import attachment
from makerlab.http import SignedInRequest
from makerlab.work import child
from printing import actions, permissions, queries
from printing.actions.bench import Checks
from printing.forms import StartForm
from printing.hours import attended_until
from printing.learning import learn, lesson_of
from printing.models import Plate, Printer
from printing.outlook import will_it_last
from printing.plate_drawing import draw_plate
from printing.plate_read import read_plate
from printing.states import NotAllowedNow
from printing.views.common import do, one

PAGE = "printing/plate_detail.html"
KINDS = ("3mf", "stl")
CHECKS = ("right_spool", "bed_clear", "file_loaded", "staying", "short_spool")


def own_plate(request: SignedInRequest, pk: int) -> Plate:
    plates = permissions.with_own(Plate.objects.visible_to(request.user), request.user)
    plate: Plate = one(plates.select_related("room__school", "printer__kind", "pin_printer", "pin_after"), pk)
    return plate


def printer_lines(
    plate: Plate, printers: Iterable[Printer], now: datetime, until: datetime | None
) -> list[dict[str, Any]]:
    """How long the plate takes on each of the room's printers that can hold it, and what stands in the way there;
    ``until``: when the staffed span around ``now`` ends."""
    learned = learn(plate.room_id)
    lines = []
    for printer in printers:
        if str(printer.pk) not in plate.durations_s:
            continue
        duration_s = plate.durations_s[str(printer.pk)]
        ends_at = now + timedelta(seconds=duration_s)
        unattended = plate.room.unattended_allowed and printer.may_run_unattended
        spool = getattr(printer, "spool", None)
        fits = spool is not None and (spool.material, spool.colour) == (plate.material, plate.colour)
        lesson = lesson_of(learned, printer, plate.material)
        lines.append(
            {
                "printer": printer,
                "duration_s": duration_s,
                "ends_at": ends_at,
                "planned": printer.pk == plate.printer_id,
                "out": getattr(printer, "out_now", None) is not None,
                "busy": printer.is_busy,  # type: ignore[attr-defined]
                "spool": spool,
                "spool_fits": fits,
                "outlook": will_it_last(plate, printer, spool, learned) if spool is not None and fits else None,
                "run": lesson.duration(plate.estimates_s.get(str(printer.pk), duration_s)).run,
                "runs_known": lesson.calibration.runs,
                "is_default": lesson.is_default,
                "past_hours": not unattended and (until is None or ends_at > until),
            }
        )
    return lines


def page(
    request: SignedInRequest, plate: Plate, form: StartForm | None = None, status: int = 200, **more: Any
) -> HttpResponse:
    """The plate's page; ``more`` is what another form on it has to say."""
    copies = queries.placed_copies(plate)
    now = timezone.now()
    read = read_plate(plate)
    printers = queries.printers_now(plate.room, now)
    closes = attended_until(plate.room, now, read.bells)
    lines = printer_lines(plate, printers, now, closes)
    context = {
        "plate": plate,
        "copies": copies,
        "drawing": draw_plate(plate, copies),
        "code": queries.plate_code(plate, copies),
        "lines": lines,
        "asks_short": any(line["outlook"] and not line["outlook"].is_sure for line in lines),
        "asks_staying": any(line["past_hours"] for line in lines),
        "form": form or StartForm(plate=plate),
        "can_start": permissions.can_start(request.user, plate),
        "run": read.run,
        "working": read.working,
        "printers": printers,
        "pin_choices": {"printer": [(each.pk, str(each)) for each in printers], "after": read.others},
        "closes": closes,
    }
    return render(request, PAGE, context | more, status=status)


@require_safe
def plate_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """What stands on it, for whom; its files; and for technicians the start."""
    return page(request, own_plate(request, pk))


@require_safe
def plate_file(request: SignedInRequest, pk: int, kind: str) -> FileResponse:
    """The arranged plate as a download, written in a disposable child: the parts are files from outside."""
    plate = own_plate(request, pk)
    parts = queries.placed_parts_of(plate)
    if kind not in KINDS or not parts:
        raise Http404
    with tempfile.TemporaryDirectory(prefix="plate-") as folder:
        path = Path(folder) / f"plate.{kind}"
        try:
            child.run(
                "meshcheck.service:write_plate",
                {"parts": parts, "path": str(path), "kind": kind, "title": str(plate)},
            )
            data = path.read_bytes()
        except (child.ChildFailed, FileNotFoundError) as error:
            raise Http404(_("The plate could not be written: a stored file may be missing.")) from error
    return attachment(ContentFile(data), queries.file_name(plate, kind))


@require_POST
def plate_hold(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take the file: from now the plate stays as it is. Leads to the download."""
    plate = own_plate(request, pk)
    kind = request.POST.get("kind", "")
    if kind not in KINDS:
        raise Http404
    if not do(request, lambda: actions.hold_plate(plate, request.user)):
        return redirect("printing:plate-detail", pk=plate.pk)
    return redirect("printing:plate-file", pk=plate.pk, kind=kind)


@require_POST
def plate_release(request: SignedInRequest, pk: int) -> HttpResponse:
    """The file is not used after all."""
    plate = own_plate(request, pk)
    said = _("%(plate)s may be laid out anew.") % {"plate": plate}
    do(request, lambda: actions.release_plate(plate, request.user), said)
    return redirect("printing:bench")


@require_POST
def plate_start(request: SignedInRequest, pk: int) -> HttpResponse:
    """Start it, once every check is ticked."""
    plate = own_plate(request, pk)
    form = StartForm(request.POST, plate=plate)
    if not form.is_valid():
        return page(request, plate, form, status=422)
    values = form.cleaned_data
    checks = Checks(**{name: values[name] for name in CHECKS})
    try:
        run = actions.start_plate(plate, values["printer"], request.user, checks)
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        plate.refresh_from_db()
        if not permissions.can_start(request.user, plate):  # somebody was quicker: the page has no form any more
            messages.error(request, str(told))
            return redirect("printing:plate-detail", pk=plate.pk)
        form.add_error(None, str(told))
        return page(request, plate, form, status=422)
    messages.success(
        request,
        _("%(plate)s prints on %(printer)s until about %(end)s.")
        % {"plate": plate, "printer": run.printer, "end": f"{timezone.localtime(run.expected_end_at):%H:%M}"},
    )
    return redirect("printing:bench")
