"""Verbs about what is wanted: how many copies, held back, urgent with a reason, and what a team may have printed."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import F, Max
from django.utils.translation import gettext as _

from lessons.models import Assignment, SchoolClass
from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.actions.ground import touch, want_plan
from printing.causes import cause
from printing.models import Plate, PrintCopy, PrintRequest, Room, TeamBudget
from printing.planner.snapshot import copies_wanted
from printing.states import CopyState, NotAllowedNow

MORE_MOST = 12  # copies of one request beyond what the team needs
OPEN = (CopyState.WAITING, CopyState.PLANNED)
REASON_MAX = 120


def _changed(room: Room) -> None:
    """The queue is another: a move made on an older list is refused."""
    Room.objects.filter(pk=room.pk).update(queue_version=F("queue_version") + 1)


def _take_off(copies: list[int]) -> None:
    """Take waiting copies off their plates; a file that was taken holds them no longer."""
    Plate.objects.filter(copies__in=copies, held=True).update(held=False)
    open_copies = PrintCopy.objects.filter(pk__in=copies, state=CopyState.PLANNED)
    open_copies.update(state=CopyState.WAITING, plate=None, place=None, x_mm=None, y_mm=None, turn_deg=0.0)


@transaction.atomic
def hold_request(request: PrintRequest, actor: User, held: bool) -> None:
    """Keep what is not printing yet from being planned, or let it be planned again. What prints goes on.

    Raises NotAllowedNow when it is so already, or nothing waits any more.
    """
    permissions.check_can_order(actor, request)
    touch(request.room_id)
    waiting = list(request.copies.filter(state__in=OPEN).values_list("pk", flat=True))
    if not waiting:
        raise NotAllowedNow(_("Nothing of this request waits any more."))
    if not PrintRequest.objects.filter(pk=request.pk, held=not held).update(held=held):
        raise NotAllowedNow(_("It is held already.") if held else _("It is not held."))
    if held:
        _take_off(waiting)
    _changed(request.room)
    record(request.room.school_id, actor, "hold_request" if held else "release_request", request)
    want_plan(request.room, cause("request_held" if held else "request_released", actor, what=request))


@transaction.atomic
def make_urgent(request: PrintRequest, actor: User, reason: str) -> None:
    """Put a request before all others, for a reason everybody in the room reads; without one it is urgent no more and
    keeps its place. Raises NotAllowedNow when nothing of it waits."""
    permissions.check_can_order(actor, request)
    reason = " ".join(reason.split())[:REASON_MAX]
    touch(request.room_id)
    if reason and not request.copies.filter(state__in=OPEN).exists():
        raise NotAllowedNow(_("Nothing of this request waits any more."))
    if not PrintRequest.objects.filter(pk=request.pk).exclude(urgent_because=reason).update(urgent_because=reason):
        raise NotAllowedNow(_("That is so already."))
    if reason:
        PrintRequest.objects.filter(room=request.room_id).update(rank=F("rank") + 1)
        PrintRequest.objects.filter(pk=request.pk).update(rank=0)
    _changed(request.room)
    record(request.room.school_id, actor, "make_urgent" if reason else "make_usual", request, reason=reason)
    want_plan(request.room, cause("request_urgent" if reason else "request_usual", actor, what=request, reason=reason))


@transaction.atomic
def set_copies(request: PrintRequest, actor: User, wanted: int) -> int:
    """Have so many copies altogether, printed ones included. Returns how many more (or, below zero, fewer) it is.

    Raises NotAllowedNow for fewer than are printing or printed, for far more than a team needs, and when the team's
    budget does not hold more.
    """
    permissions.check_can_order(actor, request)
    touch(request.room_id)
    copies = list(request.copies.exclude(state=CopyState.CANCELLED).order_by("number"))
    fixed = sum(copy.state not in OPEN for copy in copies)
    most = copies_wanted(request.kit_part, request.source.copies_in_file) + MORE_MOST
    if wanted < max(fixed, 1):
        raise NotAllowedNow(
            _("%(count)d are printing or printed already; to have none, cancel it.") % {"count": fixed}
            if fixed
            else _("To have none, cancel the request.")
        )
    if wanted > most:
        raise NotAllowedNow(_("At most %(most)d copies of this part can be ordered.") % {"most": most})
    more = wanted - len(copies)
    if more > 0:
        _check_budget(request, more)
        last = request.copies.aggregate(last=Max("number"))["last"] or 0
        PrintCopy.objects.bulk_create(PrintCopy(request=request, number=last + 1 + at) for at in range(more))
    elif more < 0:
        given_up = [copy.pk for copy in copies if copy.state in OPEN][more:]
        _take_off(given_up)
        PrintCopy.objects.filter(pk__in=given_up, state=CopyState.WAITING).update(state=CopyState.CANCELLED)
    else:
        return 0
    _changed(request.room)
    record(request.room.school_id, actor, "set_copies", request, copies=wanted, more=more)
    want_plan(request.room, cause("copies", actor, what=request, count=wanted))
    return more


def _check_budget(request: PrintRequest, more: int) -> None:
    budget = TeamBudget.objects.filter(assignment=request.assignment_id).first()
    if budget is None or request.team_id is None:
        return
    takes = used_g(request.assignment_id).get(request.team_id, 0.0) + more * (request.source.mass_g or 0.0)
    if takes > budget.grams:
        raise NotAllowedNow(
            _("That takes the team to %(takes)s g of %(budget)s g. Raise the budget first, or order fewer.")
            % {"takes": f"{takes:.0f}", "budget": f"{budget.grams:.0f}"}
        )


def used_g(assignment_id: int) -> dict[int, float]:
    """Grams by team: every copy that is wanted, and each try that was lost, as the check estimates one file."""
    rows = (
        PrintCopy.objects.filter(request__assignment=assignment_id, request__team__isnull=False)
        .exclude(state=CopyState.CANCELLED)
        .values_list("request__team_id", "tries", "request__submission__mass_g", "request__kit_part__mass_g")
    )
    found: dict[int, float] = {}
    for team_id, tries, own_g, kit_g in rows:
        found[team_id] = found.get(team_id, 0.0) + (1 + tries) * (own_g or kit_g or 0.0)
    return found


@transaction.atomic
def set_budget(assignment: Assignment, actor: User, grams: float | None) -> None:
    """What each team of the class may have printed, in grams; None: as much as is approved."""
    if not SchoolClass.objects.editable_by(actor).filter(pk=assignment.school_class_id).exists():
        raise PermissionDenied
    if grams is None:
        TeamBudget.objects.filter(assignment=assignment).delete()
    else:
        TeamBudget.objects.update_or_create(assignment=assignment, defaults={"grams": grams})
    record(assignment.school_class.school_id, actor, "set_budget", assignment, grams=grams)
