"""Everything the page "my parts" shows, gathered in a few queries."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import cached_property

from lessons.models import Assignment, CheckState, KitPart, Team
from makerlab.work.lanes import Lane
from makerlab.work.line import open_jobs
from submissions import queries
from submissions.drawing import HubDrawing, hub_drawing, widest_mm
from submissions.models import Submission
from submissions.progress import PartProgress, ProgressSource
from submissions.states import State
from submissions.steps import Step, step_line

ON_THE_WAY = (State.HANDED_IN, State.APPROVED)
CHECKING_POLL_S = (4, 15)  # the least, and the most where many files wait
FILES_A_SECOND = 0.25  # of those that wait: a page need not ask sooner than its turn can come
WAITING_POLL_S = 15


@dataclass(frozen=True)
class Design:
    """One part the team redesigns: the task, its versions (newest first) and where the leading one is."""

    part: KitPart
    versions: list[Submission]
    progress: PartProgress | None
    tray: int

    @cached_property
    def leading(self) -> Submission | None:
        """The version on its way: the newest one handed in or approved, else the newest of all."""
        on_the_way = [version for version in self.versions if version.state in ON_THE_WAY]
        return next(iter(on_the_way or self.versions), None)

    @cached_property
    def newer(self) -> Submission | None:
        """A newer version that is not handed in, beside one that is on its way."""
        newest = self.versions[0] if self.versions else None
        return newest if newest and self.leading and newest.version > self.leading.version else None

    @cached_property
    def steps(self) -> list[Step]:
        leading = self.leading
        if leading is None:
            return []
        return step_line(leading, queries.decision_of(leading), self.leading_progress, self.tray)

    @property
    def leading_progress(self) -> PartProgress | None:
        """What printing says, if it speaks of the leading version."""
        if self.progress and self.leading and self.progress.submission_id == self.leading.pk:
            return self.progress
        return None

    @cached_property
    def note(self) -> str:
        """What the teacher wrote when sending it back."""
        if self.leading is None or self.leading.state != State.RETURNED:
            return ""
        decision = queries.decision_of(self.leading)
        return decision.note if decision else ""

    @cached_property
    def drawing(self) -> HubDrawing | None:
        return hub_drawing(self.part)

    @property
    def across_max_mm(self) -> float | None:
        return widest_mm(getattr(self.part, "gauge", None))

    @cached_property
    def task(self) -> tuple[str, str]:
        """Heading and the rest: the first sentence of the task, and what follows."""
        pieces = re.split(r"(?<=[.!?])\s+", self.part.task.strip(), maxsplit=1)
        return pieces[0] or self.part.name, pieces[1] if len(pieces) > 1 else ""


@dataclass(frozen=True)
class Line:
    """One row of everything the team needs."""

    part: KitPart
    submission: Submission | None
    progress: PartProgress | None


@dataclass(frozen=True)
class PartsPage:
    """The page of one team and assignment."""

    assignment: Assignment
    team: Team
    designs: list[Design]
    lines: list[Line]
    revision: str  # changes when anything the live parts of the page show changes

    @cached_property
    def poll_s(self) -> int:
        """How often to look again; 0 when nothing moves."""
        all_versions = [version for design in self.designs for version in design.versions]
        if any(version.check_state == CheckState.CHECKING for version in all_versions):
            soonest, latest = CHECKING_POLL_S
            return min(latest, max(soonest, round(open_jobs(Lane.MEASURE) * FILES_A_SECOND)))
        moving = any(design.leading and design.leading.state in ON_THE_WAY for design in self.designs)
        return WAITING_POLL_S if moving or any(line.progress for line in self.lines) else 0


def read_revision(team_id: int, assignment_id: int) -> str:
    """The revision of the page as it would be now, without gathering it. One query and one of each progress source."""
    return _revision(queries.read_state_rows(team_id, assignment_id), queries.progress_rows(team_id, assignment_id))


def _revision(states: Sequence[tuple[Any, ...]], progress: Sequence[tuple[ProgressSource, Sequence[Any]]]) -> str:
    seen = repr((states, [rows for _source, rows in progress]))
    return hashlib.sha256(seen.encode()).hexdigest()[:16]


def parts_page(assignment: Assignment, team: Team) -> PartsPage:
    """Gather the page. Two queries and those of the progress sources."""
    parts = queries.kit_parts(assignment.plan_id)
    versions = queries.designs(team.pk, assignment.pk)
    progress = queries.progress_rows(team.pk, assignment.pk)
    told = {each.kit_part_id: each for source, rows in progress for each in source.told(rows, team, assignment)}
    for version in versions:
        version.assignment = assignment  # so that no step asks for it again
    designs = [
        Design(part, [v for v in versions if v.kit_part_id == part.pk], told.get(part.pk), team.tray)
        for part in parts
        if part.redesignable
    ]
    revision = _revision(queries.state_rows(versions), progress)
    return PartsPage(assignment, team, designs, _lines(parts, designs, told), revision)


def _lines(parts: Sequence[KitPart], designs: Sequence[Design], told: dict[int, PartProgress]) -> list[Line]:
    leading = {design.part.pk: design.leading for design in designs}
    made = {design.part.pk: design.leading_progress for design in designs}
    wanted = [part for part in parts if part.copies_per_team or part.pk in told]  # a gauge is shared by the class
    return [Line(part, leading.get(part.pk), made.get(part.pk, told.get(part.pk))) for part in wanted]
