"""Who may do what in the room. ``check_can_x`` raises, ``can_x`` asks; page and action use the same one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.models import Case, Exists, OuterRef, QuerySet, Value, When
from django.utils.translation import gettext as _

from lessons.models import Assignment, SchoolClass
from makerlab.accounts.models import User
from printing.models import Plate, PrintCopy, Printer, PrinterKind, PrintRequest, Room, Run, Spool, WhatIf
from printing.states import PLATE_TRANSITIONS, NotAllowedNow, Outcome


def _of_school(user: User, room: Room) -> None:
    if user.school_id != room.school_id:
        raise PermissionDenied


def check_can_work_at_bench(user: User, room: Room) -> None:
    """Technicians and administrators of the school start, clear, load and weigh."""
    _of_school(user, room)
    if not (user.is_technician or user.is_administrator):
        raise PermissionDenied(_("Only technicians and administrators work at the bench."))


def check_can_see_room(user: User, room: Room) -> None:
    """All staff of the school see the plan and the bench."""
    _of_school(user, room)
    if not user.is_staff_member:
        raise PermissionDenied


def check_can_plan_again(user: User, room: Room) -> None:
    check_can_see_room(user, room)


def check_can_order(user: User, request: PrintRequest) -> None:
    """Teachers order what their own classes get; administrators all of the school."""
    school_class = request.assignment.school_class
    if not SchoolClass.objects.editable_by(user).filter(pk=school_class.pk).exists():
        raise PermissionDenied


def check_can_choose_room(user: User, assignment: Assignment, room: Room) -> None:
    """Who orders for a class says in which room of the school its parts are printed."""
    _of_school(user, room)
    if not SchoolClass.objects.editable_by(user).filter(pk=assignment.school_class_id).exists():
        raise PermissionDenied


def check_can_start(user: User, plate: Plate) -> None:
    check_can_work_at_bench(user, plate.room)
    if (plate.state, "start") not in PLATE_TRANSITIONS:
        raise NotAllowedNow(
            _("%(plate)s was already started.") % {"plate": plate}
            if plate.state == "printing"
            else _("%(plate)s is finished and cleared.") % {"plate": plate}
        )


def check_can_clear(user: User, run: Run) -> None:
    check_can_work_at_bench(user, run.plate.room)
    if run.outcome != Outcome.RUNNING:
        raise NotAllowedNow(_("%(plate)s was already cleared.") % {"plate": run.plate})


def check_can_hold(user: User, plate: Plate) -> None:
    check_can_start(user, plate)


def check_can_pin(user: User, plate: Plate) -> None:
    """Fix a plate's printer, start or order: technicians and administrators any plate; teachers one that holds nothing
    but their own classes' parts, since to fix it is to put it before everybody else's."""
    check_can_see_room(user, plate.room)
    if user.is_teacher and not _holds_only_own(user, plate):
        raise PermissionDenied
    if (plate.state, "start") not in PLATE_TRANSITIONS:
        raise NotAllowedNow(_("%(plate)s was started; a running print does not move.") % {"plate": plate})


def with_own(plates: QuerySet[Plate], user: User) -> QuerySet[Plate]:
    """Plates with ``only_own``: the key of the person who asks where all on it is of their classes, else None, so that
    ``check_can_pin`` need not ask again."""
    copies = PrintCopy.objects.filter(plate=OuterRef("pk"))
    others = copies.exclude(request__assignment__school_class__in=SchoolClass.objects.editable_by(user))
    holds = Exists(copies) & ~Exists(others)
    return plates.annotate(only_own=Case(When(holds, then=Value(user.pk)), default=Value(0)))


def _holds_only_own(user: User, plate: Plate) -> bool:
    known: int | None = plate.__dict__.get("only_own")
    if known is None:
        known = with_own(Plate.objects.filter(pk=plate.pk), user).get().only_own  # type: ignore[attr-defined]
    return known == user.pk


def check_can_prepare(user: User, plate: Plate) -> None:
    """Bring the file that was prepared for a plate, and let it stand for it, until the plate is started."""
    check_can_start(user, plate)


def check_can_arrange(user: User, plate: Plate) -> None:
    """Lay a plate out by hand: who may fix it in the plan, while it is planned and its file was not taken."""
    check_can_pin(user, plate)
    if plate.held:
        raise NotAllowedNow(
            _("The file of %(plate)s was taken already, so it stays as it is. Let it go first.") % {"plate": plate}
        )


def check_can_choose_plate_size(user: User, room: Room) -> None:
    """All staff of the school: it is the teachers who know what a class can spare, and the plan says what it costs."""
    check_can_see_room(user, room)


def check_can_set_hours(user: User, room: Room) -> None:
    """Who works at the bench says when somebody is there."""
    check_can_work_at_bench(user, room)


def check_can_set_up(user: User) -> None:
    """Administrators say what rooms and kinds of printer their school has."""
    if not user.is_administrator:
        raise PermissionDenied(_("Only administrators set rooms and printers up."))


def check_can_keep_free(user: User, kind: PrinterKind) -> None:
    """Who works at the bench knows where a clip or a worn spot sits, and says which areas of a bed stay free."""
    if user.school_id != kind.school_id:
        raise PermissionDenied
    if not (user.is_technician or user.is_administrator):
        raise PermissionDenied(_("Only technicians and administrators say what stays free on a bed."))


def check_can_change_printers(user: User, room: Room) -> None:
    """Administrators say which printers a room has and which of them may run with nobody there."""
    _of_school(user, room)
    if not user.is_administrator:
        raise PermissionDenied(_("Only administrators change the printers of a room."))


def check_can_try(user: User, what_if: WhatIf) -> None:
    """Whoever made it changes, applies or discards it."""
    check_can_see_room(user, what_if.room)
    if what_if.made_by_id != user.pk:
        raise PermissionDenied


def check_can_have_feed(user: User) -> None:
    """All staff: each sees in it what they see on the pages."""
    if not user.is_staff_member:
        raise PermissionDenied


def check_can_serve(user: User, printer: Printer) -> None:
    """Take a printer out of service, or back."""
    check_can_work_at_bench(user, printer.room)


def check_can_handle(user: User, spool: Spool) -> None:
    check_can_work_at_bench(user, spool.room)


def asks(check: Callable[..., None], *arguments: Any) -> bool:
    """Whether the check lets it pass."""
    try:
        check(*arguments)
    except (PermissionDenied, NotAllowedNow):
        return False
    return True


def can_work_at_bench(user: User, room: Room) -> bool:
    return asks(check_can_work_at_bench, user, room)


def can_keep_free(user: User, kind: PrinterKind) -> bool:
    return asks(check_can_keep_free, user, kind)


def can_set_hours(user: User, room: Room) -> bool:
    return asks(check_can_set_hours, user, room)


def can_order(user: User, request: PrintRequest) -> bool:
    return asks(check_can_order, user, request)


def can_start(user: User, plate: Plate) -> bool:
    return asks(check_can_start, user, plate)


def can_pin(user: User, plate: Plate) -> bool:
    return asks(check_can_pin, user, plate)


def can_arrange(user: User, plate: Plate) -> bool:
    return asks(check_can_arrange, user, plate)


def can_have_feed(user: User) -> bool:
    return asks(check_can_have_feed, user)


def can_clear(user: User, run: Run) -> bool:
    return asks(check_can_clear, user, run)


def can_prepare(user: User, plate: Plate) -> bool:
    return asks(check_can_prepare, user, plate)
