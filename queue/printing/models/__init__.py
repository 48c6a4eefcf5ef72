"""The room with its printers and spools; the queue of wanted copies; plates, runs and the room plan."""

from printing.models.plates import Plate, PlateEstimate, RoomPlan, Run, RunCopy
from printing.models.requests import PrintCopy, PrintRequest
from printing.models.rooms import Outage, Printer, PrinterKind, Room, RoomHours, Spool

__all__ = [
    "Outage",
    "Plate",
    "PlateEstimate",
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
]
