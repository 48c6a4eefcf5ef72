"""Verbs of the files a technician prepared elsewhere: bring one, let it stand for its plate, withdraw it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue
from meshcheck.gcode.dialect import DIALECTS
from printing import permissions, queries
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.learning import learn, lesson_of
from printing.models import Plate, PreparedFile, Printer, PrinterKind
from printing.planner.arrangement import arrangement_of_plate
from printing.prepared import fits, may_stand
from printing.states import NotAllowedNow, PlateState
from submissions.uploads import clean_name, sha256_of

KIND = "read-prepared-file"
FILES_KEPT = 8  # of one plate; the oldest that does not stand gives way
MEGABYTE = 1024 * 1024


def bring_prepared(
    plate: Plate, kind: PrinterKind, dialect: str, uploaded: UploadedFile[Any], actor: User
) -> PreparedFile:
    """Store a file for a plate and have it read. The plate stays together from now: somebody prepared it as it is.

    Raises PermissionDenied, or NotAllowedNow when the plate waits no longer, no printer of that kind can print it, or
    the file is empty or too big.
    """
    permissions.check_can_prepare(actor, plate)
    prepared = PreparedFile(
        plate=plate,
        kind=kind,
        dialect=dialect,
        uploaded_by=actor,
        file_name=clean_name(uploaded.name),
        file_bytes=_checked_size(uploaded),
        sha256=sha256_of(uploaded),
    )
    prepared.file.save("", uploaded, save=False)
    try:
        with transaction.atomic():
            _keep(prepared, actor)
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        prepared.file.delete(save=False)
        raise
    return prepared


def _keep(prepared: PreparedFile, actor: User) -> None:
    plate = prepared.plate
    touch(plate.room_id)
    if prepared.dialect not in DIALECTS:
        raise NotAllowedNow(_("That reading of words is not known here."))
    _check_kind(plate, prepared.kind)
    if not Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED).update(held=True):
        raise NotAllowedNow(_("%(plate)s is not waiting any more.") % {"plate": plate})
    prepared.arrangement = arrangement_of_plate(plate, queries.placed_copies(plate))
    prepared.save()
    old = plate.prepared_files.filter(stands=False).exclude(pk=prepared.pk).order_by("-pk")
    for one in old[FILES_KEPT - 1 :]:
        one.delete()
    enqueue(KIND, prepared.pk, plate.room.school_id)
    record(
        plate.room.school_id, actor, "bring_prepared", plate,
        file=prepared.pk, sha256=prepared.sha256, kind=prepared.kind_id, dialect=prepared.dialect,
    )  # fmt: skip


def _checked_size(uploaded: UploadedFile[Any]) -> int:
    size, most = uploaded.size or 0, settings.PREPARED_MAX_BYTES
    if size == 0:
        raise NotAllowedNow(_("The file is empty (0 bytes). Save it again in the printer's own program."))
    if size > most:
        raise NotAllowedNow(
            _("The file has %(size).0f MB; at most %(most)d MB are taken. Put fewer copies on the plate.")
            % {"size": size / MEGABYTE, "most": most // MEGABYTE}
        )
    return size


def _check_kind(plate: Plate, kind: PrinterKind) -> None:
    printers = Printer.objects.filter(room=plate.room_id, kind=kind, pk__in=[int(pk) for pk in plate.durations_s])
    if not printers.exists():
        raise NotAllowedNow(_("No printer of that kind can print %(plate)s as it is arranged.") % {"plate": plate})


@transaction.atomic
def use_prepared(prepared: PreparedFile, actor: User, *, compared: bool = False) -> None:
    """Let a file stand for its plate. One that does not fit in everything only when somebody ``compared`` it, and never
    when it prints beyond the bed. Raises PermissionDenied or NotAllowedNow."""
    plate = prepared.plate
    permissions.check_can_prepare(actor, plate)
    touch(plate.room_id)
    prepared.refresh_from_db()
    plate.refresh_from_db()
    if prepared.stands:
        raise NotAllowedNow(_("This file stands for %(plate)s already.") % {"plate": plate})
    if not may_stand(prepared):
        raise NotAllowedNow(_("This file cannot stand for %(plate)s: see what it says.") % {"plate": plate})
    if not fits(prepared) and not compared:
        raise NotAllowedNow(_("Not everything fits. Compare the file with the plate first, and say that you did."))
    if not stand(prepared, actor):
        raise NotAllowedNow(
            _("%(plate)s is arranged or printed otherwise by now. Take its file again and prepare that.")
            % {"plate": plate}
        )


def stand(prepared: PreparedFile, actor: User | None) -> bool:
    """Put the file in place of the estimate. False, and nothing done, when the plate is another by now. Inside a
    transaction."""
    plate = Plate.objects.select_related("room__school").get(pk=prepared.plate_id)
    touch(plate.room_id)
    if plate.state != PlateState.PLANNED:
        return False
    if arrangement_of_plate(plate, queries.placed_copies(plate)) != prepared.arrangement:
        return False
    PreparedFile.objects.filter(plate=plate, kind=prepared.kind_id, stands=True).update(stands=False)
    PreparedFile.objects.filter(pk=prepared.pk).update(stands=True)
    _put_figures(plate, prepared.kind, prepared.duration_s, most_grams(plate))
    record(plate.room.school_id, actor, "use_prepared", plate, file=prepared.pk, by_itself=actor is None)
    want_plan(plate.room, cause("file_prepared", plate=plate))
    return True


@transaction.atomic
def withdraw_prepared(prepared: PreparedFile, actor: User) -> None:
    """The file stands no longer: our own estimate counts again."""
    plate = prepared.plate
    permissions.check_can_prepare(actor, plate)
    touch(plate.room_id)
    plate.refresh_from_db()
    if not PreparedFile.objects.filter(pk=prepared.pk, stands=True).update(stands=False):
        raise NotAllowedNow(_("This file does not stand for %(plate)s any more.") % {"plate": plate})
    own = (prepared.reading or {}).get("own") or {}
    grams = most_grams(plate)
    _put_figures(plate, prepared.kind, own.get("duration_s"), own.get("mass_g") if grams is None else grams)
    record(plate.room.school_id, actor, "withdraw_prepared", plate, file=prepared.pk)
    want_plan(plate.room, cause("file_withdrawn", plate=plate))


def most_grams(plate: Plate) -> float | None:
    """The most any file takes that stands for the plate; None when none does."""
    grams = plate.prepared_files.filter(stands=True, mass_g__isnull=False).values_list("mass_g", flat=True)
    return max(grams, default=None)


def _put_figures(plate: Plate, kind: PrinterKind, duration_s: float | None, mass_g: float | None) -> None:
    """Figures that count at once; the next plan works out the same."""
    learned = learn(plate.room_id)
    for printer in Printer.objects.filter(room=plate.room_id, kind=kind).select_related("kind"):
        key = str(printer.pk)
        if key in plate.durations_s and duration_s is not None:
            plate.estimates_s[key] = duration_s
            plate.durations_s[key] = lesson_of(learned, printer, plate.material).duration(duration_s).mean
    plate.mass_g = plate.mass_g if mass_g is None else mass_g
    plate.held = True
    plate.save(update_fields=["estimates_s", "durations_s", "mass_g", "held"])
