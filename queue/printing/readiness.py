"""How a lab day stands: every part of every team from the first file to the tray, who is missing what, the forecast."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from lessons.models import Assignment, KitPart, Membership, Team
from makerlab.components.figures import day_clock
from makerlab.components.marks import Mark
from printing.chance import in_100
from printing.models import PrintCopy, PrintRequest, RoomPlan
from printing.planner.snapshot import copies_wanted
from printing.states import CopyState
from submissions.models import Submission
from submissions.states import State


class Stage(StrEnum):
    """Where one part of one team stands; the slowest copy decides."""

    NO_FILE = "no_file"
    DRAFT = "draft"
    RETURNED = "returned"
    TO_REVIEW = "to_review"
    NOT_ORDERED = "not_ordered"  # approved, but in no queue: there was no room
    AFTER_REVIEW = "after_review"  # a part nobody redesigns is ordered with the team's first approved part
    WAITING = "waiting"
    PLANNED = "planned"
    PRINTING = "printing"
    IN_TRAY = "in_tray"


TEAMS_TURN = frozenset({Stage.NO_FILE, Stage.DRAFT, Stage.RETURNED})
HANDED_IN = frozenset({Stage.TO_REVIEW, Stage.NOT_ORDERED, Stage.WAITING, Stage.PLANNED, Stage.PRINTING, Stage.IN_TRAY})
ORDERED = frozenset({Stage.WAITING, Stage.PLANNED, Stage.PRINTING, Stage.IN_TRAY})
APPROVED = ORDERED | {Stage.NOT_ORDERED}
STAGES = {State.DRAFT: Stage.DRAFT, State.RETURNED: Stage.RETURNED, State.HANDED_IN: Stage.TO_REVIEW}
COUNTS_FIRST = (State.APPROVED, State.HANDED_IN)  # before any newer draft
# (state of a copy, stage), the fastest first
COPY_STAGES = (
    (CopyState.IN_TRAY, Stage.IN_TRAY),
    (CopyState.PRINTING, Stage.PRINTING),
    (CopyState.PLANNED, Stage.PLANNED),
    (CopyState.WAITING, Stage.WAITING),
)


@dataclass(frozen=True, slots=True)
class PartOfTeam:
    """One part of one team: ``needed`` copies to print, of which so many are in the tray, printing and planned.

    Spares beyond what is needed do not count. ``submission``: the version that counts, if there is one.
    """

    kit_part: KitPart
    stage: Stage
    needed: int
    in_tray: int = 0
    printing: int = 0
    planned: int = 0
    submission: Submission | None = None

    @property
    def mark(self) -> Mark:
        counts = {"done": self.in_tray, "all": self.needed}
        looks: dict[Stage, Mark] = {
            Stage.NO_FILE: Mark("bad", "s-fix", _("no file yet")),
            Stage.DRAFT: Mark("care", "s-advice", _("not handed in")),
            Stage.RETURNED: Mark("bad", "s-back", _("sent back")),
            Stage.TO_REVIEW: Mark("care", "review", _("waits for review")),
            Stage.NOT_ORDERED: Mark("care", "s-advice", _("approved, not ordered")),
            Stage.AFTER_REVIEW: Mark("plain", "s-wait", _("ordered later")),
            Stage.WAITING: Mark("plain", "s-wait", _("waits for a plate")),
            Stage.PLANNED: Mark("plain", "s-plan", _("planned")),
            Stage.PRINTING: Mark("live", "s-run", _("printing")),
            Stage.IN_TRAY: Mark("good", "s-done", _("in the tray")),
        }
        look = looks[self.stage]
        if self.stage in ORDERED and self.needed > 1 and self.stage != Stage.IN_TRAY:
            return look._replace(text=_("%(words)s, %(done)d of %(all)d there") % {"words": look.text, **counts})
        return look


@dataclass(frozen=True, slots=True)
class TeamRow:
    """One team with its parts in order of the kit."""

    team: Team
    nicknames: tuple[str, ...]
    parts: tuple[PartOfTeam, ...]
    chance_in_100: int | None
    ready_at: datetime | None
    is_late: bool

    @property
    def is_ready(self) -> bool:
        return bool(self.parts) and all(part.stage == Stage.IN_TRAY for part in self.parts)

    @property
    def missing(self) -> tuple[PartOfTeam, ...]:
        """What the team itself still has to do."""
        return tuple(part for part in self.parts if part.stage in TEAMS_TURN)


@dataclass(frozen=True, slots=True)
class Readiness:
    """One lesson of one meeting. Designs are parts that a team redesigns; copies are prints. ``forecast_room``: the
    key of the room whose forecast the chance is."""

    assignment: Assignment
    kit_parts: tuple[KitPart, ...]
    teams: tuple[TeamRow, ...]
    chance_in_100: int | None
    forecast_room: int | None = None

    def _parts(self) -> Iterable[PartOfTeam]:
        return (part for row in self.teams for part in row.parts)

    def _designs(self, stages: Iterable[Stage]) -> int:
        return sum(part.kit_part.redesignable and part.stage in stages for part in self._parts())

    @property
    def designs(self) -> int:
        return self._designs(Stage)

    @property
    def handed_in(self) -> int:
        return self._designs(HANDED_IN)

    @property
    def approved(self) -> int:
        return self._designs(APPROVED)

    @property
    def to_review(self) -> int:
        return self._designs([Stage.TO_REVIEW])

    @property
    def copies(self) -> int:
        return sum(part.needed for part in self._parts())

    @property
    def ordered(self) -> int:
        return sum(part.needed for part in self._parts() if part.stage in ORDERED)

    @property
    def planned(self) -> int:
        return sum(part.planned for part in self._parts())

    @property
    def printing(self) -> int:
        return sum(part.printing for part in self._parts())

    @property
    def in_tray(self) -> int:
        return sum(part.in_tray for part in self._parts())

    @property
    def teams_ready(self) -> int:
        return sum(row.is_ready for row in self.teams)

    @property
    def teams_late(self) -> int:
        return sum(row.is_late and not row.is_ready for row in self.teams)

    @property
    def is_ready(self) -> bool:
        return bool(self.teams) and self.teams_ready == len(self.teams)

    @property
    def by_tray(self) -> list[TeamRow]:
        return sorted(self.teams, key=lambda row: (row.team.tray, row.team.number))

    @property
    def reminders(self) -> str:
        """A text the teacher can copy: what each team has still to do, and until when. Empty when nobody has to."""
        lines = [line for row in self.teams for line in _reminder(row)]
        if not lines:
            return ""
        head = _("%(plan)s, %(class)s: files may come in until %(until)s. The parts are needed on %(meeting)s.") % {
            "plan": self.assignment.plan,
            "class": self.assignment.school_class,
            "until": day_clock(self.assignment.upload_by),
            "meeting": day_clock(self.assignment.meeting.starts_at),
        }
        return "\n".join([head, *lines])


def _reminder(row: TeamRow) -> Iterable[str]:
    words = {
        Stage.NO_FILE: _("no file uploaded yet"),
        Stage.DRAFT: _("uploaded, but not handed in"),
        Stage.RETURNED: _("sent back: mend it and hand it in again"),
    }
    for part in row.missing:
        yield _("%(team)s: %(part)s, %(what)s") % {"team": row.team, "part": part.kit_part, "what": words[part.stage]}


def readiness_of(assignments: Sequence[Assignment], plans: Sequence[RoomPlan]) -> list[Readiness]:
    """How each stands, in the order given; a fixed number of queries for all of them. ``plans``: those in force, one
    for each room."""
    submissions = _submissions(assignments)
    copies = _copies(assignments)
    kits = _planned(plans)
    parts: dict[int, list[KitPart]] = defaultdict(list)
    lessons = {assignment.plan_id for assignment in assignments}
    for kit_part in (
        KitPart.objects.filter(plan__in=lessons)
        .exclude(copies_per_team=0)
        .defer("report", "picture")
        .order_by("position", "pk")
    ):
        parts[kit_part.plan_id].append(kit_part)
    teams = _teams({assignment.school_class_id for assignment in assignments})
    found = []
    for assignment in assignments:
        kit = tuple(parts[assignment.plan_id])
        rows = tuple(
            _team_row(assignment, members, kit, submissions, copies, kits)
            for members in teams.get(assignment.school_class_id, [])
        )
        chance, room = _chance(assignment, plans)
        found.append(Readiness(assignment, kit, rows, in_100(chance), room))
    return found


def _teams(class_ids: Collection[int]) -> dict[int, list[list[Membership]]]:
    """For each class its teams that have anybody, in order of their numbers, as their members with the team."""
    members = Membership.objects.filter(school_class__in=class_ids, team__isnull=False).select_related("team")
    by_team: dict[tuple[int, int | None], list[Membership]] = defaultdict(list)
    for member in members.order_by("team__number", "nickname"):
        by_team[member.school_class_id, member.team_id].append(member)
    found: dict[int, list[list[Membership]]] = defaultdict(list)
    for (school_class, _team), of_team in by_team.items():
        found[school_class].append(of_team)
    return found


def _planned(plans: Sequence[RoomPlan]) -> dict[tuple[int, int], list[dict[str, Any]]]:
    """What each room's plan says of a team in an assignment."""
    found: dict[tuple[int, int], list[dict[str, Any]]] = defaultdict(list)
    for plan in plans:
        for kit in plan.facts.get("kits", []):
            found[kit["assignment"], kit["team"]].append(kit)
    return found


def _chance(assignment: Assignment, plans: Sequence[RoomPlan]) -> tuple[float | None, int | None]:
    """The forecast's share and its room; where two rooms print for the class, the lower one: both at once cannot be
    likelier."""
    shares = [(plan.facts.get("chance_by_assignment", {}).get(str(assignment.pk)), plan.room_id) for plan in plans]
    return min(((share, room) for share, room in shares if share is not None), default=(None, None))


Key = tuple[int, int, int]  # assignment, team, kit part


def _submissions(assignments: Sequence[Assignment]) -> dict[Key, Submission]:
    """The version that counts: an approved or handed-in one, else the newest."""
    found: dict[Key, Submission] = {}
    rows = Submission.objects.filter(assignment__in=assignments).exclude(state=State.REPLACED)
    for row in rows.light().order_by("version"):
        key = (row.assignment_id, row.team_id, row.kit_part_id)
        if key not in found or found[key].state not in COUNTS_FIRST or row.state in COUNTS_FIRST:
            found[key] = row
    return found


def _copies(assignments: Sequence[Assignment]) -> dict[tuple[int, int, int, int | None], Counter[str]]:
    """Copies by state for (assignment, team, kit part, submission); class spares and cancelled ones are left out."""
    found: dict[tuple[int, int, int, int | None], Counter[str]] = defaultdict(Counter)
    rows = PrintCopy.objects.filter(
        request__in=PrintRequest.objects.filter(assignment__in=assignments, team__isnull=False)
    ).exclude(state=CopyState.CANCELLED)
    wanted = ("assignment_id", "team_id", "kit_part_id", "submission_id")
    for *key, state in rows.values_list(*(f"request__{name}" for name in wanted), "state"):
        found[key[0], key[1], key[2], key[3]][state] += 1
    return found


def _team_row(
    assignment: Assignment,
    members: Sequence[Membership],
    kit: Sequence[KitPart],
    submissions: dict[Key, Submission],
    copies: dict[tuple[int, int, int, int | None], Counter[str]],
    kits: dict[tuple[int, int], list[dict[str, Any]]],
) -> TeamRow:
    parts, team = [], members[0].team
    assert team is not None, "only members of a team are read"
    for kit_part in kit:
        key = (assignment.pk, team.pk, kit_part.pk)
        submission = submissions.get(key) if kit_part.redesignable else None
        counts = copies.get((*key, submission.pk if submission else None), Counter())
        parts.append(_part(kit_part, submission, counts))
    planned = kits.get((assignment.pk, team.pk), [])
    moments = [parse_datetime(kit["ready_at"]) if kit["ready_at"] else None for kit in planned]
    known = [moment for moment in moments if moment]
    shares = [kit["chance"] for kit in planned if kit.get("chance") is not None]
    return TeamRow(
        team=team,
        nicknames=tuple(sorted(member.nickname for member in members)),
        parts=tuple(parts),
        chance_in_100=in_100(min(shares, default=None)),
        ready_at=max(known) if len(known) == len(moments) and known else None,
        is_late=any(kit["late_min"] > 0 or not kit["ready_at"] for kit in planned),
    )


def _part(kit_part: KitPart, submission: Submission | None, counts: Counter[str]) -> PartOfTeam:
    needed = copies_wanted(kit_part, (submission or kit_part).copies_in_file)
    if not counts:
        return PartOfTeam(kit_part, _stage_before_queue(kit_part, submission), needed, submission=submission)
    left, of_state, stage = needed, {}, Stage.IN_TRAY
    for state, name in COPY_STAGES:
        of_state[name] = min(left, counts[state])
        left -= of_state[name]
        if of_state[name]:
            stage = name
    if left:  # fewer copies are wanted than the team needs: somebody cancelled some
        stage = Stage.NOT_ORDERED
    return PartOfTeam(
        kit_part,
        stage,
        needed,
        in_tray=of_state[Stage.IN_TRAY],
        printing=of_state[Stage.PRINTING],
        planned=of_state[Stage.PLANNED],
        submission=submission,
    )


def _stage_before_queue(kit_part: KitPart, submission: Submission | None) -> Stage:
    if not kit_part.redesignable:
        return Stage.AFTER_REVIEW
    if submission is None:
        return Stage.NO_FILE
    return STAGES.get(State(submission.state), Stage.NOT_ORDERED)


def state_mark(readiness: Readiness) -> Mark:
    """How a lab day stands in a word."""
    if not readiness.teams:
        return Mark("plain", "s-wait", _("no team has students"))
    if readiness.is_ready:
        return Mark("good", "s-done", _("everything is in the trays"))
    if readiness.teams_late:
        return Mark("bad", "s-late", _("late by the plan: %(count)d teams") % {"count": readiness.teams_late})
    missing = readiness.designs - readiness.handed_in
    if missing:
        return Mark("care", "s-wait", _("designs missing: %(count)d") % {"count": missing})
    if readiness.to_review:
        return Mark("care", "review", _("to review: %(count)d") % {"count": readiness.to_review})
    if readiness.ordered < readiness.copies:
        return Mark("care", "s-advice", _("not ordered: %(count)d") % {"count": readiness.copies - readiness.ordered})
    return Mark("live", "s-run", _("being printed"))
