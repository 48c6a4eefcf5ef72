"""Which function does which kind of job. Apps register in their ``jobs.py`` when they start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from makerlab.work.models import Job

Apply = Callable[[], None]


class GiveUp(Exception):
    """Raised by a job's work when another try cannot help. The message is shown to people."""


@dataclass(frozen=True)
class Handler:
    """How one kind of job is done.

    ``work(job)`` does the slow part outside any transaction, writes nothing, and returns a function
    that writes the result; that function runs in the transaction which marks the job done, and only if the
    job is still ours. ``failed(job, message)`` runs in the transaction which marks the job failed.
    ``somebody_waits``: False where the result only betters what stands (``actions.rests``).
    """

    kind: str
    lane: str
    wall_s: int
    work: Callable[[Job], Apply]
    failed: Callable[[Job, str], None]
    failed_message: str
    somebody_waits: bool = True


HANDLERS: dict[str, Handler] = {}
DAILY: list[Callable[[], object]] = []  # chores without a subject, done once a day; doing one twice must change nothing
OFTEN: list[Callable[[], object]] = []  # chores done with every sweep: quick ones, of one query when nothing is to do


def register(handler: Handler) -> None:
    """Make a handler known. Raises ValueError when the kind is taken by another one."""
    if HANDLERS.get(handler.kind, handler) != handler:
        raise ValueError(f"job kind {handler.kind} is registered twice")
    HANDLERS[handler.kind] = handler
