"""What the apps below say has happened, told on to webhooks. Runs in the transaction of the change itself."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from makerlab.api.models import Happening
from makerlab.api.webhooks import tell
from printing.models import RoomPlan, Run
from printing.signals import plan_published, run_ended
from submissions.models import Submission
from submissions.signals import checked


@receiver(checked, dispatch_uid="api.part_checked")
def part_checked(sender: Any, submission: Submission, **_rest: Any) -> None:
    tell(
        submission.assignment.school_class.school_id, Happening.PART_CHECKED,
        submission=submission.pk, assignment=submission.assignment_id, kit_part=submission.kit_part_id,
        check_state=submission.check_state, verdict=submission.verdict,
    )  # fmt: skip


@receiver(plan_published, dispatch_uid="api.plan_changed")
def plan_changed(sender: Any, plan: RoomPlan, **_rest: Any) -> None:
    tell(plan.room.school_id, Happening.PLAN_CHANGED, room=plan.room_id, plan=plan.pk, late_kits=plan.late_kits)


@receiver(run_ended, dispatch_uid="api.run_ended")
def run_over(sender: Any, run: Run, outcome: str, **_rest: Any) -> None:
    tell(
        run.plate.room.school_id, Happening.RUN_ENDED,
        run=run.pk, room=run.plate.room_id, plate=run.plate_id, printer=run.printer_id, outcome=str(outcome),
    )  # fmt: skip
