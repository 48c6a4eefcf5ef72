"""Background work of lessons: measuring the kit's own parts."""

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
from lessons.models import KitPart
from makerlab.work.models import Job, Lane
from makerlab.work.registry import Apply, GiveUp, Handler, register
from meshcheck.types import Limits

KIND = "check-kit-part"


def check_kit_part(job: Job) -> Apply:
    """Measure a kit part against its own gauge: a kit whose starting wheel does not fit helps nobody."""
    part = KitPart.objects.select_related("gauge").filter(pk=job.subject).first()
    if part is None:
        raise GiveUp("the kit part is gone")
    room = room_of(job.school_id)
    measured = tried(
        job,
        lambda: measure(
            part,
            gauge=part.gauge_value(),
            settings=settings_of(part),
            machine=room.machine,
            limits=Limits(bed_mm=room.bed_mm),
            unit=part.unit,
        ),
    )

    def apply() -> None:
        apply_measurement(part, measured)

    return apply


def check_failed(job: Job, message: str) -> None:
    mark_failed(KitPart, job.subject, message)


register(
    Handler(
        kind=KIND,
        lane=Lane.MEASURE,
        wall_s=JOB_WALL_S,
        work=check_kit_part,
        failed=check_failed,
        failed_message=failed_message(),
    )
)
