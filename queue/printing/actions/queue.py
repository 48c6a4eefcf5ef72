"""Verbs of the queue: order, move, cancel."""

from __future__ import annotations

import logging
import math

from django.db import transaction
from django.db.models import F, Max
from django.utils.translation import gettext as _

from lessons.models import Assignment, KitPart, Team
from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import Plate, PrintCopy, PrintRequest, Room
from printing.planner.snapshot import copies_wanted, kit_id_of
from printing.states import COPY_TRANSITIONS, CopyState, NotAllowedNow
from submissions.models import Submission
from submissions.states import NotAllowedNow as NotUndone
from submissions.states import State

log = logging.getLogger("makerlab.printing")

SPARES_MOST = 3
CANCELLABLE = tuple(state for state, step in COPY_TRANSITIONS if step == "cancel")


@transaction.atomic
def order_kit(submission: Submission, actor: User | None) -> list[PrintRequest]:
    """Print requests for an approved submission, for the kit's other parts of that team, and for the class's spares.

    Parts that were ordered before are not ordered twice. Returns the new requests; none when the school has no room.
    """
    assignment = submission.assignment
    school_id = assignment.school_class.school_id
    room = Room.objects.for_assignment(assignment)
    if room is None:
        log.warning("school %s has no room; submission %s is not ordered", school_id, submission.pk)
        return []
    touch(room.pk)
    Room.objects.filter(pk=room.pk).update(queue_version=F("queue_version") + 1)
    wanted: list[tuple[KitPart, Team | None, Submission | None, int]] = [
        (
            submission.kit_part,
            submission.team,
            submission,
            copies_wanted(submission.kit_part, submission.copies_in_file),
        )
    ]
    others = list(assignment.plan.kit_parts.filter(redesignable=False))
    wanted += [(part, submission.team, None, copies_wanted(part, part.copies_in_file)) for part in others]
    wanted += [(part, None, None, math.ceil(part.spares / max(1, part.copies_in_file))) for part in others]
    made = [request for want in wanted if (request := _order(room, submission, *want))]
    if made:
        record(
            school_id,
            actor,
            "order_kit",
            submission,
            requests=[request.pk for request in made],
            team=submission.team_id,
        )
        want_plan(room, cause("approved", part=submission.kit_part, team=submission.team))
    return made


def _order(
    room: Room, origin: Submission, kit_part: KitPart, team: Team | None, submission: Submission | None, copies: int
) -> PrintRequest | None:
    """One request with its copies at the end of the room's queue, unless it is there already or nothing is wanted."""
    if not copies:
        return None
    same = {"submission": submission} if submission else {"submission": None, "team": team}
    if PrintRequest.objects.filter(assignment=origin.assignment, kit_part=kit_part, **same).exists():
        return None
    last = PrintRequest.objects.filter(room=room).aggregate(last=Max("rank"))["last"]
    request = PrintRequest.objects.create(
        room=room,
        assignment=origin.assignment,
        kit_part=kit_part,
        team=team,
        submission=submission,
        rank=0 if last is None else last + 1,
    )
    PrintCopy.objects.bulk_create(PrintCopy(request=request, number=number + 1) for number in range(copies))
    return request


def movable(actor: User, room: Room) -> list[PrintRequest]:
    """The actor's requests that still have copies to print, in order of the queue."""
    waiting = PrintRequest.objects.editable_by(actor).filter(room=room, copies__state__in=CANCELLABLE)
    return list(waiting.distinct().order_by("rank", "id"))


@transaction.atomic
def move_request(request: PrintRequest, actor: User, direction: str, version: int) -> int:
    """Move a request up or down by one place among those the actor may order; the places of others stay theirs.

    ``version`` is the queue version the actor saw. Returns the new version. Raises NotAllowedNow when the queue has
    changed since, or when the request stands at the end already.
    """
    permissions.check_can_order(actor, request)
    if direction not in {"up", "down"}:
        raise ValueError(f"{direction} is not a direction")
    room = request.room
    if not Room.objects.filter(pk=room.pk, queue_version=version).update(
        queue_version=F("queue_version") + 1, revision=F("revision") + 1
    ):
        raise NotAllowedNow(_("The queue has changed since you looked. Nothing was moved; this is how it stands now."))
    order = movable(actor, room)
    ids = [each.pk for each in order]
    if request.pk not in ids:
        raise NotAllowedNow(_("Nothing of this request waits any more, so it cannot be moved."))
    at = ids.index(request.pk)
    other_at = at - 1 if direction == "up" else at + 1
    if not 0 <= other_at < len(order):
        raise NotAllowedNow(_("It stands first already.") if direction == "up" else _("It stands last already."))
    mine, other = order[at], order[other_at]
    PrintRequest.objects.filter(pk=mine.pk).update(rank=other.rank)
    PrintRequest.objects.filter(pk=other.pk).update(rank=mine.rank)
    record(room.school_id, actor, "move_request", request, direction=direction, past=other.pk)
    ahead = mine if direction == "up" else other
    kit = kit_id_of(ahead.assignment_id, ahead.team_id)
    want_plan(room, cause(f"moved_{direction}", actor, what=request, kit=kit))
    return version + 1


@transaction.atomic
def place_request(request: PrintRequest, actor: User, before: int | None, version: int) -> int:
    """Put a request before another of those the actor may order, or last of them; the places of others stay theirs.

    Returns the new queue version. Raises NotAllowedNow as ``move_request`` does.
    """
    permissions.check_can_order(actor, request)
    room = request.room
    if not Room.objects.filter(pk=room.pk, queue_version=version).update(
        queue_version=F("queue_version") + 1, revision=F("revision") + 1
    ):
        raise NotAllowedNow(_("The queue has changed since you looked. Nothing was moved; this is how it stands now."))
    order = movable(actor, room)
    ids = [each.pk for each in order]
    if request.pk not in ids or (before is not None and before not in ids):
        raise NotAllowedNow(_("Nothing of this request waits any more, so it cannot be moved."))
    if before == request.pk:
        return version + 1
    rest = [each for each in order if each.pk != request.pk]
    at = next((place for place, each in enumerate(rest) if each.pk == before), len(rest))
    wished = [*rest[:at], order[ids.index(request.pk)], *rest[at:]]
    for each, rank in zip(wished, [each.rank for each in order], strict=True):
        PrintRequest.objects.filter(pk=each.pk).update(rank=rank)
    record(room.school_id, actor, "place_request", request, before=before)
    was, now = ids.index(request.pk), at
    ahead = [request] if now < was else order[was + 1 : now + 1]  # which stand before others now
    kits = {kit_id_of(each.assignment_id, each.team_id) for each in ahead}
    want_plan(room, cause("moved_to", actor, what=request, kit=" ".join(sorted(kit for kit in kits if kit))))
    return version + 1


@transaction.atomic
def order_spares(assignment: Assignment, actor: User, more: int) -> int:
    """So many more copies of each part for every team of the class whose part is not all printed yet, in case one is
    lost; nobody waits for them. Returns how many copies. Raises NotAllowedNow when nothing is left to print."""
    if not 1 <= more <= SPARES_MOST:
        raise NotAllowedNow(_("Order one to %(most)d spares of a part at a time.") % {"most": SPARES_MOST})
    requests = PrintRequest.objects.filter(assignment=assignment, team__isnull=False, copies__state__in=CANCELLABLE)
    waiting = list(requests.distinct().select_related("room", "assignment__school_class").order_by("rank", "id"))
    if not waiting:
        raise NotAllowedNow(_("Nothing of this class waits to be printed any more."))
    for request in waiting:
        permissions.check_can_order(actor, request)
    room = waiting[0].room
    touch(room.pk)
    Room.objects.filter(pk=room.pk).update(queue_version=F("queue_version") + 1)
    for request in waiting:
        last = request.copies.aggregate(last=Max("number"))["last"] or 0
        PrintCopy.objects.bulk_create(PrintCopy(request=request, number=last + 1 + at) for at in range(more))
    record(room.school_id, actor, "order_spares", assignment, more=more, requests=[request.pk for request in waiting])
    want_plan(room, cause("spares", more=more, group=assignment.school_class))
    return more * len(waiting)


@transaction.atomic
def cancel_copies(request: PrintRequest, actor: User) -> int:
    """Cancel the copies that are not printing yet; what prints or lies in the tray stays. Returns how many.

    Raises NotAllowedNow when nothing was left to cancel.
    """
    permissions.check_can_order(actor, request)
    cancelled = _cancel(request, actor)
    if not cancelled:
        raise NotAllowedNow(_("Every copy is printing, printed or cancelled already."))
    return cancelled


@transaction.atomic
def take_back_order(submission: Submission, actor: User | None) -> int:
    """Undo ``order_kit`` of an approval that was taken back: its requests go, as if it had not been approved. What
    another approved part of the team, or of the class, wants as well stays. Returns how many requests.

    Raises the refusal of submissions when a copy of them is printing or printed, or lies on a plate whose file was
    taken: nothing is undone then.
    """
    others = Submission.objects.filter(assignment=submission.assignment_id, state=State.APPROVED)
    requests = PrintRequest.objects.filter(assignment=submission.assignment_id)
    gone = requests.filter(submission=submission)
    if not others.filter(team=submission.team_id).exists():
        gone |= requests.filter(submission__isnull=True, team=submission.team_id)
    if not others.exists():
        gone |= requests.filter(submission__isnull=True, team__isnull=True)
    found = list(gone.select_related("room"))
    if not found:
        return 0
    rooms = sorted({request.room for request in found}, key=lambda room: room.pk)
    for room in rooms:
        touch(room.pk)
    copies = PrintCopy.objects.filter(request__in=found)
    under_way = copies.exclude(state__in=[*CANCELLABLE, CopyState.CANCELLED])
    if under_way.exists() or copies.filter(plate__held=True).exists():
        raise NotUndone(_("Some of it is at the printers already. Cancel the rest in the queue instead."))
    record(rooms[0].school_id, actor, "take_back_order", submission, requests=[request.pk for request in found])
    PrintRequest.objects.filter(pk__in=[request.pk for request in found]).delete()
    Room.objects.filter(pk__in=[room.pk for room in rooms]).update(queue_version=F("queue_version") + 1)
    for room in rooms:
        want_plan(room, cause("approval_undone", part=submission.kit_part, team=submission.team))
    return len(found)


@transaction.atomic
def cancel_submission(submission: Submission, actor: User | None) -> int:
    """Cancel what is not printing yet of a submission that was withdrawn; who may withdraw was checked there.

    Returns how many copies; 0 when all of it is printing or printed, or was never ordered.
    """
    request = PrintRequest.objects.filter(submission=submission).select_related("room").first()
    return _cancel(request, actor) if request else 0


def _cancel(request: PrintRequest, actor: User | None) -> int:
    touch(request.room_id)
    open_copies = PrintCopy.objects.filter(request=request, state__in=CANCELLABLE)
    # a file that was taken holds these copies too: let go of the plate, so that it is taken again
    Plate.objects.filter(copies__in=open_copies, held=True).update(held=False)
    cancelled = open_copies.update(state=CopyState.CANCELLED, plate=None, place=None, x_mm=None, y_mm=None)
    if cancelled:
        Room.objects.filter(pk=request.room_id).update(queue_version=F("queue_version") + 1)
        record(request.room.school_id, actor, "cancel_copies", request, copies=cancelled)
        want_plan(request.room, cause("cancelled", what=request))
    return cancelled
