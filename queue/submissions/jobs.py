"""Background work of submissions: measuring what a student uploaded."""

from __future__ import annotations

from lessons.measuring import (
    JOB_WALL_S,
    apply_measurement,
    failed_message,
    mark_failed,
    measure,
    room_of,
    settings_of,
    tried,
)
from makerlab.work.models import Job, Lane
from makerlab.work.registry import Apply, GiveUp, Handler, register
from meshcheck.types import Limits
from submissions.models import Submission
from submissions.queries import JOB_KIND


def check_submission(job: Job) -> Apply:
    """Measure an upload against the kit part's gauge and the assignment's limits."""
    submission = Submission.objects.select_related("kit_part__gauge", "assignment").filter(pk=job.subject).first()
    if submission is None:
        raise GiveUp("the upload is gone")
    room = room_of(job.school_id)
    assignment = submission.assignment
    limits = Limits(mass_g=assignment.mass_max_g, duration_s=assignment.duration_max_s, bed_mm=room.bed_mm)
    measured = tried(
        job,
        lambda: measure(
            submission,
            gauge=submission.kit_part.gauge_value(),
            settings=settings_of(submission.kit_part),
            machine=room.machine,
            limits=limits,
            unit=submission.unit,
        ),
    )

    def apply() -> None:
        apply_measurement(submission, measured)

    return apply


def check_failed(job: Job, message: str) -> None:
    mark_failed(Submission, job.subject, message)


register(
    Handler(
        kind=JOB_KIND,
        lane=Lane.MEASURE,
        wall_s=JOB_WALL_S,
        work=check_submission,
        failed=check_failed,
        failed_message=failed_message(),
    )
)
