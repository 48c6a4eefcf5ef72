"""What the plan in force does not serve: teams that are late, copies without a place; of the person's classes only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment, KitPart, SchoolClass, Team
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock
from makerlab.together import Wanted, rows_as, whole
from printing.models import PrintCopy, PrintRequest, RoomPlan
from printing.reasons import words
from printing.states import CopyState

TEAM = (*whole(Team), "school_class__name")
COPY = (
    "pk",
    "request_id",
    "request__kit_part__name",
    "request__team__number",
    "request__team__name",
    "request__assignment__school_class__name",
)


def _late(plan: RoomPlan | None) -> list[dict[str, Any]]:
    kits = plan.facts.get("kits", []) if plan else []
    return [kit for kit in kits if kit["late_min"] > 0 or not kit["ready_at"]]


def teams_wanted(plan: RoomPlan | None, user: User) -> Wanted:
    """The late teams the person may see: what ``teams_from`` takes."""
    return Team.objects.visible_to(user).filter(pk__in=[kit["team"] for kit in _late(plan)]), TEAM


def teams_from(rows: Sequence[tuple[Any, ...]]) -> dict[int, Team]:
    """Teams by key, each with the name of its class, in order of class and number."""
    teams = rows_as(Team, rows)
    for team, row in zip(teams, rows, strict=True):
        team.school_class = SchoolClass(pk=team.school_class_id, name=row[-1])
    return {team.pk: team for team in sorted(teams, key=lambda team: (team.school_class_id, team.number))}


def copies_wanted(plan: RoomPlan | None, user: User) -> Wanted:
    """The copies without a place that the person may see: what ``unplaced_copies`` takes."""
    reasons = plan.facts.get("unplaced", {}) if plan else {}
    waiting = PrintCopy.objects.filter(pk__in=[int(key) for key in reasons], state=CopyState.WAITING)
    return waiting.filter(request__in=PrintRequest.objects.visible_to(user)), COPY


def late_kits(plan: RoomPlan | None, teams: Mapping[int, Team]) -> list[dict[str, Any]]:
    """Teams that the plan serves late, or not at all, with the reason in figures; those not in ``teams`` are left
    out."""
    rows = []
    for kit in _late(plan):
        team = teams.get(kit["team"])
        if team is None:
            continue
        ready = parse_datetime(kit["ready_at"]) if kit["ready_at"] else None
        rows.append(
            {
                "team": team,
                "school_class": team.school_class,
                "assignment_id": kit["assignment"],
                "ready_at": ready,
                "deadline": parse_datetime(kit["deadline"]),
                "late_s": kit["late_min"] * 60,
                "words": _("ready %(when)s") % {"when": day_clock(ready)}
                if ready
                else _("no time found for all parts"),
            }
        )
    return rows


def unplaced_copies(plan: RoomPlan | None, copies: Sequence[tuple[Any, ...]]) -> list[dict[str, Any]]:
    """Copies without a place, by request and reason; ``copies``: the answer to ``copies_wanted``."""
    reasons = plan.facts.get("unplaced", {}) if plan else {}
    grouped: dict[tuple[int, str], dict[str, Any]] = {}
    for key, request, *named in sorted(copies):
        reason = words(reasons[str(key)])
        row = grouped.setdefault((request, reason), {"request": _named(*named), "reason": reason, "count": 0})
        row["count"] += 1
    for row in grouped.values():
        row["copies"] = ngettext("%(count)d copy", "%(count)d copies", row["count"]) % {"count": row["count"]}
    return list(grouped.values())


def _named(part: str, number: int | None, team: str | None, school_class: str) -> str:
    """What the request is called."""
    given = Assignment(school_class=SchoolClass(name=school_class))
    whom = None if number is None else Team(number=number, name=team or "")
    return str(PrintRequest(kit_part=KitPart(name=part), team=whom, assignment=given))
