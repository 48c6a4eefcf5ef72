"""The room with its printers and spools; the queue of wanted copies; plates, runs and the room plan."""

from printing.models.looks import CalendarFeed, PlanLook, WhatIf
from printing.models.plates import Plate, PlateEstimate, PreparedFile, RoomPlan, Run, RunCopy
from printing.models.requests import AssignmentRoom, PrintCopy, PrintRequest, TeamBudget
from printing.models.rooms import EmptySpool, ExtraHours, Outage, Printer, PrinterKind, Room, RoomHours, Spool, Upkeep

__all__ = [
    "AssignmentRoom",
    "CalendarFeed",
    "EmptySpool",
    "ExtraHours",
    "Outage",
    "PlanLook",
    "Plate",
    "PlateEstimate",
    "PreparedFile",
    "PrintCopy",
    "PrintRequest",
    "Printer",
    "PrinterKind",
    "Room",
    "RoomHours",
    "RoomPlan",
    "Run",
    "RunCopy",
    "Spool",
    "TeamBudget",
    "Upkeep",
    "WhatIf",
]
