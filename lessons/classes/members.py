"""Who is in a class and in which team; fingerprints of both, so that nobody saves over what another just changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet

from lessons.models import Membership, SchoolClass, Team
from lessons.rosters import Member
from makerlab.prepared import Prepared


def members_of(school_class: SchoolClass) -> list[Membership]:
    """The students by nickname, with team and sign-in."""
    members = school_class.memberships.select_related("team", "user")
    return sorted(members, key=lambda member: (member.nickname.casefold(), member.pk))


def in_other_classes(member: Membership) -> QuerySet[Membership]:
    """The same student in further classes that are in use."""
    return Membership.objects.in_use(member.user).exclude(pk=member.pk)


@Prepared
def places_of(user_id: int) -> QuerySet[Membership]:
    """A student's places in classes that are in use, with class and team."""
    return Membership.objects.in_use(user_id)


def as_listed(members: Iterable[Membership]) -> list[Member]:
    """The students as ``lessons.rosters.compare`` takes them."""
    return [Member(m.pk, m.nickname, m.sourced_id, team_words(m.team) if m.team else ()) for m in members]


def team_words(team: Team) -> tuple[str, ...]:
    """What a list may call a team."""
    return (str(team.number), team.name, f"team {team.number}", str(team))


def fingerprint(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()[:16]


def teams_seen(school_class: SchoolClass) -> str:
    """A fingerprint of the teams and of who is in them, as they are now."""
    return teams_read(school_class.teams.all(), school_class.memberships.all())


def teams_read(teams: Iterable[Team], members: Iterable[Membership]) -> str:
    """The same of a class's teams and members as they were read."""
    named = sorted((team.pk, team.number, team.name, team.tray) for team in teams)
    return fingerprint([named, sorted([member.pk, member.team_id or 0] for member in members)])


def pins_seen(members: Iterable[Membership]) -> str:
    """A fingerprint of the pictures of these students."""
    return fingerprint(sorted((member.pk, member.user.pin) for member in members))
