"""Background work of submissions: measuring what a student uploaded."""

from __future__ import annotations

from lessons.measuring import measure_in_job, register_check
from lessons.models import CheckState
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from meshcheck.types import Limits
from submissions.models import Submission
from submissions.queries import JOB_KIND
from submissions.signals import checked


def check_submission(job: Job) -> Apply:
    """Measure an upload against the kit part's gauge and the assignment's limits."""
    submission = Submission.objects.select_related("kit_part__gauge", "assignment").filter(pk=job.subject).first()
    if submission is None:
        raise GiveUp("the upload is gone")
    limits = Limits(mass_g=submission.assignment.mass_max_g, duration_s=submission.assignment.duration_max_s)
    write = measure_in_job(job, submission, submission.kit_part, limits, submission.assignment)

    def apply() -> None:
        write()
        tell_checked(job.subject)

    return apply


def tell_checked(subject: str) -> None:
    """Say that the check is over, unless the file is to be read once more."""
    rows = Submission.objects.exclude(check_state=CheckState.CHECKING).select_related("assignment__school_class")
    submission = rows.light().filter(pk=subject).first()
    if submission is not None:
        checked.send(sender=Submission, submission=submission)


register_check(JOB_KIND, Submission, check_submission, tell_checked)
