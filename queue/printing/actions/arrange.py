"""Verbs of laying out by hand: save an arrangement, and give the plate back to the planner."""

from __future__ import annotations

import json

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue
from printing import by_hand, permissions
from printing.actions.ground import touch, want_plan
from printing.by_hand import Batch, Stand, Wish
from printing.causes import cause
from printing.models import Plate, PrintCopy
from printing.planner.values import WantedCopy
from printing.queries import placed_copies
from printing.states import CopyState, NotAllowedNow, PlateState

ESTIMATE_PLATE = "estimate-plate"


class ChangedMeanwhile(NotAllowedNow):
    """The plate is not as the person saw it. What they asked for can be asked for again on what stands there now."""


@transaction.atomic
def arrange_plate(plate: Plate, actor: User, wish: Wish) -> None:
    """Put the copies where the wish says; those it leaves out wait again, those it adds leave their other plate.

    Raises ChangedMeanwhile when the plate changed since the wish was made, or a copy it names is not to be had any
    more; NotAllowedNow when the plate was started, its file was taken, or a rule is broken (the message says which).
    """
    touch(plate.room_id)
    row = _fresh(plate)
    permissions.check_can_arrange(actor, row)
    standing = placed_copies(row)
    if wish.version != by_hand.version_of(row, standing):
        raise ChangedMeanwhile(
            _("%(plate)s was changed meanwhile, by somebody else or by a new plan.") % {"plate": row}
        )
    free = {copy.pk: copy for copy in by_hand.free_copies(row, actor, standing)}
    known = {**free, **{copy.pk: copy for copy in standing}}
    if gone := [stand.copy_id for stand in wish.stands if stand.copy_id not in known]:
        raise ChangedMeanwhile(_("%(count)d of the parts are not to be had any more.") % {"count": len(gone)})
    wanted = by_hand.copies_by_id(known[stand.copy_id] for stand in wish.stands)
    batch = _batch(wish, wanted, row)
    numbers = {pk: _("The part") for pk in wanted}
    verdict = by_hand.judge(row, wish, wanted, numbers | by_hand.names_of(standing, list(free.values())))
    if not verdict.is_sound:
        raise NotAllowedNow(" ".join(verdict.sentences))
    _take_off(row, verdict.stands)
    _fetch(row, [free[stand.copy_id] for stand in verdict.stands if stand.copy_id in free])
    _place(row, verdict.stands)
    _note(row, wish, batch)
    before = {copy.pk for copy in standing}
    after = {stand.copy_id for stand in verdict.stands}
    record(
        row.room.school_id,
        actor,
        "arrange_plate",
        row,
        copies=len(after),
        added=len(after - before),
        taken_off=len(before - after),
    )
    enqueue(ESTIMATE_PLATE, row.pk, row.room.school_id)
    want_plan(row.room, cause("arranged", actor, plate=row))


@transaction.atomic
def lay_out_again(plate: Plate, actor: User) -> None:
    """Undo the laying out by hand: its copies wait again, and the planner puts them where it likes.

    Raises NotAllowedNow when it was not laid out by hand, or is fixed in the plan: a fixed plate stays together.
    """
    touch(plate.room_id)
    row = _fresh(plate)
    permissions.check_can_arrange(actor, row)
    if not row.arranged:
        raise NotAllowedNow(_("%(plate)s is the planner's own already.") % {"plate": row})
    if row.is_pinned or row.followers.filter(state=PlateState.PLANNED).exists():
        raise NotAllowedNow(
            _("%(plate)s is fixed in the plan, so its parts stay together. Let it go there first.") % {"plate": row}
        )
    _to_the_queue(row.copies.filter(state=CopyState.PLANNED))
    Plate.objects.filter(pk=row.pk, state=PlateState.PLANNED).update(arranged=False)
    record(row.room.school_id, actor, "lay_out_again", row)
    want_plan(row.room, cause("given_back", plate=row))


def _fresh(plate: Plate) -> Plate:
    """The plate as it stands, with the room locked; a plan may have given it up."""
    row: Plate | None = Plate.objects.filter(pk=plate.pk).select_related("room__school", "printer__kind").first()
    if row is None:
        raise ChangedMeanwhile(_("%(plate)s is not in the plan any more.") % {"plate": plate})
    return row


def _batch(wish: Wish, wanted: dict[int, WantedCopy], plate: Plate) -> Batch:
    """The material, colour and settings all of them share."""
    if len(wanted) < len(wish.stands):
        raise NotAllowedNow(_("A part on it has no measured file, or print settings that cannot work together."))
    batches = {(copy.material, copy.colour, copy.settings) for copy in wanted.values()}
    if len(batches) > 1:
        raise NotAllowedNow(
            _("The parts on %(plate)s are not printed alike any more; the planner lays them out anew.")
            % {"plate": plate}
        )
    if not batches:
        raise NotAllowedNow(_("One copy at least stays on the plate."))
    return batches.pop()


def _take_off(plate: Plate, stands: tuple[Stand, ...]) -> None:
    _to_the_queue(plate.copies.filter(state=CopyState.PLANNED).exclude(pk__in=[stand.copy_id for stand in stands]))


def _to_the_queue(copies: QuerySet[PrintCopy]) -> None:
    copies.update(state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0)


def _fetch(plate: Plate, copies: list[PrintCopy]) -> None:
    """Onto this plate, unless somebody took one meanwhile. Plates left empty are given up."""
    left = {copy.plate_id for copy in copies if copy.plate_id}
    free = Q(plate__isnull=True) | Q(plate__state=PlateState.PLANNED, plate__held=False)
    rows = PrintCopy.objects.filter(free, pk__in=[copy.pk for copy in copies])
    ids = list(rows.filter(state__in=[CopyState.WAITING, CopyState.PLANNED]).values_list("pk", flat=True))
    if PrintCopy.objects.filter(pk__in=ids).update(state=CopyState.PLANNED, plate=plate) < len(copies):
        raise ChangedMeanwhile(_("A part you added is not to be had any more."))
    Plate.objects.filter(pk__in=left, state=PlateState.PLANNED, copies__isnull=True).delete()


def _place(plate: Plate, stands: tuple[Stand, ...]) -> None:
    """Where they stand, numbered row by row from the front left, as one reads the bed."""
    ordered = sorted(stands, key=lambda stand: (round((stand.y_mm or 0.0) / 10), stand.x_mm or 0.0))
    copies = [
        PrintCopy(pk=stand.copy_id, place=at + 1, x_mm=stand.x_mm, y_mm=stand.y_mm, turn_deg=stand.turn_deg % 360.0)
        for at, stand in enumerate(ordered)
    ]
    PrintCopy.objects.bulk_update(copies, ["place", "x_mm", "y_mm", "turn_deg"])


def _note(plate: Plate, wish: Wish, batch: Batch) -> None:
    """From now its copies and places stay. Its figures are unknown until the estimate is there."""
    material, colour, settings = batch
    kind = wish.kind
    done = Plate.objects.filter(pk=plate.pk, state=PlateState.PLANNED, held=False).update(
        arranged=True,
        changed_at=timezone.now(),
        material=material,
        colour=colour,
        settings=json.loads(settings),
        bed_width_mm=kind.width_mm,
        bed_depth_mm=kind.depth_mm,
        bed_round=kind.bed == kind.Bed.ROUND,
        durations_s={},
        estimates_s={},
    )
    if not done:
        raise ChangedMeanwhile(_("%(plate)s was started meanwhile.") % {"plate": plate})
