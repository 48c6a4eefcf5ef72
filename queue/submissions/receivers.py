"""What submissions do when the print settings of a kit part change, and when one is deleted. Runs in the transaction
of the change."""

from __future__ import annotations

from typing import Any

from django.db.models.signals import post_delete
from django.dispatch import receiver

from lessons.models import Assignment, CheckState, KitPart
from lessons.showing import forget_deleted
from lessons.signals import settings_changed
from lessons.stored import file_of_deleted
from makerlab.work.actions import enqueue
from meshcheck.types import Verdict
from submissions.models import Submission
from submissions.queries import JOB_KIND
from submissions.states import State

post_delete.connect(forget_deleted, sender=Submission, dispatch_uid="submissions.forget_shown")
post_delete.connect(file_of_deleted, sender=Submission, dispatch_uid="submissions.forget_file")

AFTER_FRESH_UPLOADS = 5  # priority of the jobs: somebody waits for a fresh upload


@receiver(settings_changed, dispatch_uid="submissions.measure_again")
def measure_again(sender: Any, kit_part: KitPart, assignment: Assignment | None = None, **_rest: Any) -> None:
    """Measure every version that still counts. What nobody decided on yet shows as being checked meanwhile; what is
    approved keeps its figures until the new ones are there, so that its plates stay planned."""
    counts = Submission.objects.filter(kit_part=kit_part, state__in=[State.DRAFT, State.HANDED_IN, State.APPROVED])
    if assignment is not None:
        counts = counts.filter(assignment=assignment)
    counts = counts.exclude(verdict=Verdict.REJECTED)
    again = list(counts.values_list("pk", "assignment__school_class__school_id"))
    undecided = counts.filter(state__in=[State.DRAFT, State.HANDED_IN])
    undecided.update(check_state=CheckState.CHECKING, check_error="")
    for pk, school_id in again:
        enqueue(JOB_KIND, pk, school_id, priority=AFTER_FRESH_UPLOADS)
