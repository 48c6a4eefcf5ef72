"""One function per verb. Each is one transaction: the room's row first, then conditional updates, the audit record,
and the wish for a new plan. One of twenty at once wins; the others get ``NotAllowedNow`` with a sentence."""

from printing.actions.arrange import arrange_plate, lay_out_again
from printing.actions.bench import (
    finish_run,
    hold_plate,
    mark_failed,
    mark_partly,
    release_plate,
    start_plate,
    stop_run,
)
from printing.actions.feed import make_feed, revoke_feed
from printing.actions.ground import plan_again
from printing.actions.pins import pin_plate, unpin_plate
from printing.actions.plan import add_extra_hours, choose_plate_size, note_look, remove_extra_hours
from printing.actions.printers import add_printer, set_unattended
from printing.actions.queue import (
    cancel_copies,
    cancel_submission,
    move_request,
    order_kit,
    order_spares,
    place_request,
    take_back_order,
)
from printing.actions.room import back_in_service, set_out_of_service
from printing.actions.spools import add_spool, describe_spool, load_spool, weigh_empty, weigh_spool
from printing.actions.undo import undo_run
from printing.actions.upkeep import note_upkeep
from printing.actions.wanted import hold_request, make_urgent, set_budget, set_copies
from printing.actions.where import Moved, print_in

__all__ = [
    "Moved",
    "add_extra_hours",
    "add_printer",
    "add_spool",
    "arrange_plate",
    "back_in_service",
    "cancel_copies",
    "cancel_submission",
    "choose_plate_size",
    "describe_spool",
    "finish_run",
    "hold_plate",
    "hold_request",
    "lay_out_again",
    "load_spool",
    "make_feed",
    "make_urgent",
    "mark_failed",
    "mark_partly",
    "move_request",
    "note_look",
    "note_upkeep",
    "order_kit",
    "order_spares",
    "pin_plate",
    "place_request",
    "plan_again",
    "print_in",
    "release_plate",
    "remove_extra_hours",
    "revoke_feed",
    "set_budget",
    "set_copies",
    "set_out_of_service",
    "set_unattended",
    "start_plate",
    "stop_run",
    "take_back_order",
    "undo_run",
    "unpin_plate",
    "weigh_empty",
    "weigh_spool",
]
