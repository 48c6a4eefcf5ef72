"""Bring a class list into a class: what was previewed, compared again at the moment it is saved."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.classes import locked, make_class
from lessons.actions.refusals import ChangedMeanwhile
from lessons.actions.students import create_member, known_students, remove_member, write_nickname
from lessons.actions.teams import create_team
from lessons.classes.members import as_listed, fingerprint, members_of, team_words
from lessons.models import Membership, SchoolClass, Team
from lessons.rosters import Changes, Roster, RosterClass, compare, names
from makerlab.accounts.models import User
from makerlab.audit.models import record


@dataclass(frozen=True, slots=True)
class Preview:
    """What a list would change, the teams it would make, and a fingerprint of both. ``known``: nicknames of new ones
    who are in other classes here and keep their sign-in."""

    changes: Changes
    new_teams: tuple[str, ...]
    seen: str
    known: tuple[str, ...] = ()


def preview(school_class: SchoolClass | None, roster: Roster) -> Preview:
    """Compare the list with the class as it is now; with None, with a class still to be made. Changes nothing."""
    members = as_listed(members_of(school_class)) if school_class else []
    teams = list(school_class.teams.all()) if school_class else []
    changes = compare(roster, members)
    known = {names.key(word) for team in teams for word in team_words(team)}
    new: dict[str, str] = {}
    for wanted in (*(s.team for s in changes.added), *(move.team for move in changes.moved)):
        if wanted and names.key(wanted) not in known:
            new.setdefault(names.key(wanted), wanted)
    here = known_students(school_class, [s.sourced_id for s in changes.added]) if school_class else {}
    kept = tuple(student.nickname for student in changes.added if student.sourced_id in here)
    return Preview(changes, tuple(new.values()), fingerprint([asdict(changes), list(new)]), kept)


@transaction.atomic
def import_roster(
    user: User,
    school_class: SchoolClass,
    roster: Roster,
    seen: str,
    leave: Collection[int] = (),
    class_key: str = "",
) -> Changes:
    """Make the class as the list says.

    ``leave``: keys of memberships, among those the list no longer holds, to be removed; nobody else leaves.
    ``class_key``: the list's key of the class, kept if the class has none. Returns what was done. Raises
    PermissionDenied, and ChangedMeanwhile when the class is no longer as it was in the preview.
    """
    school_class = locked(user, school_class)
    now = preview(school_class, roster)
    if now.seen != seen:
        raise ChangedMeanwhile(_("The class changed after this preview was made. Look at it again, then save."))
    changes = now.changes
    members = {member.pk: member for member in members_of(school_class)}
    left = [members[member.pk] for member in changes.left if member.pk in set(leave)]
    for member in left:
        remove_member(user, member)
    _rename(changes, members)
    for listed, key in changes.keyed:
        Membership.objects.filter(pk=listed.pk).update(sourced_id=key)
    _keep_key(school_class, class_key)
    teams = _Teams(school_class)
    for move in changes.moved:
        Membership.objects.filter(pk=move.member.pk).update(team=teams.called(move.team))
    for student in changes.added:
        create_member(school_class, student.nickname, teams.called(student.team), student.sourced_id)
    record(
        user.school_id, user, "import_class_list", school_class, added=len(changes.added), moved=len(changes.moved),
        renamed=len(changes.renamed), removed=len(left),
    )  # fmt: skip
    return changes


def _keep_key(school_class: SchoolClass, key: str) -> None:
    """So that the next package finds the class again, unless another class has the key."""
    others = SchoolClass.objects.filter(school_id=school_class.school_id, sourced_id=key)
    if key and not school_class.sourced_id and not others.exists():
        SchoolClass.objects.filter(pk=school_class.pk).update(sourced_id=key)


def _rename(changes: Changes, members: dict[int, Membership]) -> None:
    """Two may swap nicknames, so each first gets one that nobody can have."""
    for rename in changes.renamed:
        Membership.objects.filter(pk=rename.member.pk).update(nickname=f"\u2060{rename.member.pk}")
    for rename in changes.renamed:
        write_nickname(members[rename.member.pk], rename.nickname)


class _Teams:
    """The teams of a class by what a list calls them; a team nobody knows yet is made."""

    def __init__(self, school_class: SchoolClass) -> None:
        self.school_class = school_class
        self.known: dict[str, Team] = {}
        for team in school_class.teams.order_by("-number"):
            self._learn(team)

    def _learn(self, team: Team) -> None:
        self.known |= {names.key(word): team for word in team_words(team)}

    def called(self, word: str) -> Team | None:
        """None for a student the list puts into no team."""
        if not word:
            return None
        if names.key(word) not in self.known:
            number = int(word) if word.isdecimal() and 0 < int(word) <= 99 else None
            made = create_team(self.school_class, "" if number else word, number)
            self._learn(made)
            self.known[names.key(word)] = made
        return self.known[names.key(word)]


@dataclass(frozen=True, slots=True)
class PackageEntry:
    """One class of a package to bring in: into a class there is, or into a new one of this name."""

    listed: RosterClass
    into: SchoolClass | None
    name: str
    seen: str


@transaction.atomic
def import_package(user: User, entries: Sequence[PackageEntry], teachers: Collection[User] = ()) -> list[SchoolClass]:
    """Bring in several classes of a package, all of them or none. Nobody is removed. Raises NotPossible (with the
    class's name in its message) and ChangedMeanwhile."""
    done = []
    for entry in entries:
        values = {"school_year": entry.listed.school_year, "term": entry.listed.term}
        into = entry.into or make_class(user, entry.name, values, teachers, entry.listed.sourced_id)
        import_roster(user, into, entry.listed.roster, entry.seen)
        done.append(into)
    return done
