"""Where a team's part stands: what the teacher decided, and after that what whoever prints it tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, Protocol

from lessons.models import Assignment, Team


@dataclass(frozen=True, slots=True)
class Decision:
    """A teacher's decision on a version. ``by``: the name people read, empty where the account is gone."""

    by: str
    at: datetime
    note: str


class Stage(StrEnum):
    """How far the slowest copy is on its way; the step line follows it."""

    WAITING = "waiting"  # in the queue, on no plate yet
    PLANNED = "planned"
    PRINTING = "printing"
    IN_TRAY = "in_tray"


@dataclass(frozen=True, slots=True)
class PartProgress:
    """One part of a team's kit on its way to the tray.

    ``submission_id`` is None for a part nobody redesigns. ``state`` is the word people read ("printing on Wren"),
    ``mark_kind`` one of good, care, bad, live, plain and ``icon`` a symbol of the sprite, as {% mark %} takes them;
    ``note`` says more ("plate P6, 4 of your wheels, since 10:22"). ``chance_in_100`` is the forecast's share of
    runs in which all copies lie in the tray before the meeting; None when there is no forecast.
    """

    kit_part_id: int
    submission_id: int | None
    copies: int
    done_copies: int
    state: str
    mark_kind: str
    icon: str
    note: str = ""
    likely_ready_at: datetime | None = None
    stage: Stage = Stage.WAITING
    chance_in_100: int | None = None

    @property
    def is_done(self) -> bool:
        return self.copies > 0 and self.done_copies >= self.copies


class ProgressSource(Protocol):
    """Who knows where a team's parts are. Reading and telling are apart: a page that only asks whether anything has
    changed reads, compares, and tells nothing."""

    def rows(self, team_id: int, assignment_id: int) -> Sequence[Any]:
        """Plain rows, equal as long as all that is told of them is the same. One query."""

    def told(self, rows: Sequence[Any], team: Team, assignment: Assignment) -> list[PartProgress]:
        """One entry for each part of the team, in the order of the kit."""
