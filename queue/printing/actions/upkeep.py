"""What is done to keep a printer in order."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.models import Printer, Upkeep


@transaction.atomic
def note_upkeep(printer: Printer, actor: User, work: str, note: str = "", at: datetime | None = None) -> Upkeep:
    """Note that a printer was cared for. Raises ValueError for work nobody knows."""
    permissions.check_can_serve(actor, printer)
    if work not in Upkeep.Work.values:
        raise ValueError(f"{work} is no work on a printer we know")
    row = Upkeep.objects.create(printer=printer, work=work, note=note.strip()[:200], at=at or timezone.now(), by=actor)
    record(printer.room.school_id, actor, "note_upkeep", printer, work=work)
    return row
