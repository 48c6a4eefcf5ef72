"""Background work of printing: planning the room."""

from __future__ import annotations

from makerlab.work.models import Job, Lane
from makerlab.work.registry import Apply, Handler, register
from printing.actions.ground import PLAN_ROOM


def plan_room(job: Job) -> Apply:
    """Compute a plan for the room as it stands; written only if the room has not changed meanwhile."""
    from printing.planner.plan import plan

    return plan(job)


def not_planned(job: Job, message: str) -> None:
    """The old plan stays in force; the room page says that planning failed, from the job itself."""


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
