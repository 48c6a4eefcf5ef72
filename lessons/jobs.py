"""Background work of lessons: measuring the kit's own parts."""

from __future__ import annotations

from lessons.measuring import measure_in_job, register_check
from lessons.models import KitPart
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from meshcheck.types import Limits

KIND = "check-kit-part"


def check_kit_part(job: Job) -> Apply:
    """Measure a kit part against its own gauge: a kit whose starting wheel does not fit helps nobody."""
    part = KitPart.objects.select_related("gauge").filter(pk=job.subject).first()
    if part is None:
        raise GiveUp("the kit part is gone")
    return measure_in_job(job, part, part, Limits())


register_check(KIND, KitPart, check_kit_part)
