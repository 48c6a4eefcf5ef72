"""Background work of submissions: measuring what a student uploaded."""

from __future__ import annotations

from lessons.measuring import measure_in_job, register_check
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from meshcheck.types import Limits
from submissions.models import Submission
from submissions.queries import JOB_KIND


def check_submission(job: Job) -> Apply:
    """Measure an upload against the kit part's gauge and the assignment's limits."""
    submission = Submission.objects.select_related("kit_part__gauge", "assignment").filter(pk=job.subject).first()
    if submission is None:
        raise GiveUp("the upload is gone")
    limits = Limits(mass_g=submission.assignment.mass_max_g, duration_s=submission.assignment.duration_max_s)
    return measure_in_job(job, submission, submission.kit_part, limits, submission.assignment)


register_check(JOB_KIND, Submission, check_submission)
