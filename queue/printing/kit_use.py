"""How much of a kit part is uploaded, ordered and printed: asked before somebody changes it."""

from __future__ import annotations

from django.db.models import Count, Q

from lessons.models import KitPart
from lessons.plans.kit import UseCounts
from printing.models import PrintCopy
from printing.states import CopyState
from submissions.models import Submission


def of_part(part: KitPart) -> UseCounts:
    """Over all classes and rooms of the school."""
    waiting = Q(state__in=[CopyState.WAITING, CopyState.PLANNED, CopyState.PRINTING])
    counts = PrintCopy.objects.filter(request__kit_part=part).aggregate(
        ordered=Count("pk", filter=waiting), printed=Count("pk", filter=Q(state=CopyState.IN_TRAY))
    )
    return UseCounts(Submission.objects.filter(kit_part=part).count(), counts["ordered"], counts["printed"])
