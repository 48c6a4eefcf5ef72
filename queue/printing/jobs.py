"""Background work of printing: planning the room, reading prepared files."""

from __future__ import annotations

from lessons.measuring import JOB_WALL_S
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import Apply, Handler, register
from printing import prepared
from printing.actions.arrange import ESTIMATE_PLATE
from printing.actions.ground import IMPROVE_PLAN, PLAN_OUTLOOK, PLAN_ROOM
from printing.actions.prepared import KIND as READ_PREPARED
from printing.actions.whatif import WHAT_IF


def plan_room(job: Job) -> Apply:
    """Compute a plan for the room as it stands; written only if the room has not changed meanwhile."""
    from printing.planner.plan import plan

    return plan(job)


def improve_plan(job: Job) -> Apply:
    """Look for a better plan than the first answer; dropped when the room changes meanwhile."""
    from printing.planner.plan import improve

    return improve(job)


def plan_outlook(job: Job) -> Apply:
    """What would hurt the plan most and what would help, for each meeting ahead."""
    from printing.planner.meetings import work_out

    return work_out(job)


def estimate_plate(job: Job) -> Apply:
    """Grams and minutes of a plate that was laid out by hand."""
    from printing.planner.one_plate import estimate

    return estimate(job)


def consider_what_if(job: Job) -> Apply:
    """Plan a situation that is not so, beside the one that is."""
    from printing.whatif.consider import consider

    return consider(job)


def not_planned(job: Job, message: str) -> None:
    """The old plan stays in force; the room page says that planning failed, from the job itself."""


def read_prepared(job: Job) -> Apply:
    """Read a file that a technician prepared for a plate."""
    return prepared.read(job)


register(
    Handler(
        kind=READ_PREPARED,
        lane=Lane.MEASURE,
        wall_s=JOB_WALL_S,
        work=read_prepared,
        failed=prepared.not_read,
        failed_message="The file could not be read, three times. Prepare it again, or print by our own estimate.",
    )
)
register(
    Handler(
        kind=PLAN_ROOM,
        lane=Lane.PLAN,
        wall_s=300,
        work=plan_room,
        failed=not_planned,
        failed_message="The room could not be planned. The plan before stays in force.",
    )
)
register(
    Handler(
        kind=IMPROVE_PLAN,
        lane=Lane.CONSIDER,
        wall_s=300,
        work=improve_plan,
        somebody_waits=False,
        failed=not_planned,
        failed_message="No better plan could be looked for. The plan stays as it is.",
    )
)
register(
    Handler(
        kind=PLAN_OUTLOOK,
        lane=Lane.CONSIDER,
        wall_s=300,
        work=plan_outlook,
        somebody_waits=False,
        failed=not_planned,
        failed_message="What would help could not be worked out. The plan stays as it is.",
    )
)
register(
    Handler(
        kind=ESTIMATE_PLATE,
        lane=Lane.PLAN,
        wall_s=120,
        work=estimate_plate,
        failed=not_planned,
        failed_message="Its grams and minutes could not be worked out. The next plan tries again.",
    )
)
register(
    Handler(
        kind=WHAT_IF,
        lane=Lane.CONSIDER,
        wall_s=300,
        work=consider_what_if,
        failed=not_planned,
        failed_message="It could not be worked out. Nothing was changed; change something and try again.",
    )
)
