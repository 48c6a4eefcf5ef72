"""What a list would change in a class: computed before anything is saved, and again when it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from lessons.rosters import names
from lessons.rosters.problems import Problem
from lessons.rosters.values import Roster, RosterStudent


@dataclass(frozen=True, slots=True)
class Member:
    """A student who is in the class. ``teams`` are the names their team goes by ("3", "Hares"); empty: in none."""

    pk: int
    nickname: str
    sourced_id: str = ""
    teams: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rename:
    """A member whose nickname the list spells otherwise."""

    member: Member
    nickname: str


@dataclass(frozen=True, slots=True)
class TeamMove:
    """A member the list puts into another team, as written there."""

    member: Member
    team: str


@dataclass(frozen=True, slots=True)
class Changes:
    """``keyed``: members whose key was not known yet, with it. ``left``: in the class, but no longer in the list."""

    added: tuple[RosterStudent, ...] = ()
    renamed: tuple[Rename, ...] = ()
    moved: tuple[TeamMove, ...] = ()
    keyed: tuple[tuple[Member, str], ...] = ()
    left: tuple[Member, ...] = ()
    unchanged: int = 0
    problems: tuple[Problem, ...] = ()

    @property
    def is_nothing(self) -> bool:
        """The class is as the list says; who left does not count, since nobody leaves by an import alone."""
        return not (self.added or self.renamed or self.moved or self.keyed)


def compare(roster: Roster, members: Sequence[Member]) -> Changes:
    """Match by key first, then by nickname. Doing it twice changes nothing the second time."""
    return _Comparison(roster, members).changes()


@dataclass(slots=True)
class _Comparison:
    roster: Roster
    members: Sequence[Member]
    matched: dict[int, RosterStudent] = field(default_factory=dict)
    new: list[RosterStudent] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def changes(self) -> Changes:
        by_id = {member.sourced_id: member for member in self.members if member.sourced_id}
        rest = []
        for student in self.roster.students:
            member = by_id.get(student.sourced_id) if student.sourced_id else None
            if member:
                self.matched[member.pk] = student
            else:
                rest.append(student)
        self._match_by_nickname(rest)
        renamed = tuple(self._renamed())
        matched = [(member, self.matched[member.pk]) for member in self.members if member.pk in self.matched]
        moved = tuple(TeamMove(member, s.team) for member, s in matched if s.team and not is_in(member, s.team))
        keyed = tuple((member, s.sourced_id) for member, s in matched if s.sourced_id and not member.sourced_id)
        touched = {rename.member.pk for rename in renamed} | {move.member.pk for move in moved}
        touched |= {member.pk for member, _ in keyed}
        return Changes(
            added=tuple(self._added(renamed)),
            renamed=renamed,
            moved=moved,
            keyed=keyed,
            left=tuple(self._left()),
            unchanged=len(self.matched) - len(touched),
            problems=tuple(self.problems),
        )

    def _match_by_nickname(self, students: Iterable[RosterStudent]) -> None:
        """A nickname matches who has no other key; of two students with one name in the list, neither is guessed."""
        students = list(students)
        by_key = {names.key(member.nickname): member for member in self.members if member.pk not in self.matched}
        wanted = Counter(names.key(student.nickname) for student in students)
        for student in students:
            name = names.key(student.nickname)
            member = by_key.get(name)
            other = member and member.sourced_id and student.sourced_id and member.sourced_id != student.sourced_id
            if member and not other and wanted[name] == 1:
                self.matched[member.pk] = student
            else:
                self.new.append(student)

    def _renamed(self) -> Iterable[Rename]:
        """Nicknames the list gives to members it knows by key. A school's name never replaces a nickname."""
        if self.roster.names_are_ours:
            return
        wanted = {member.pk: self.matched[member.pk].nickname for member in self.members if member.pk in self.matched}
        for member in self._who_cannot(wanted):
            student = self.matched[member.pk]
            self.problems.append(Problem("taken", student.row, student.nickname))
        for member in self.members:
            if wanted.get(member.pk, member.nickname) != member.nickname:
                yield Rename(member, wanted[member.pk])

    def _who_cannot(self, wanted: dict[int, str]) -> list[Member]:
        """Take out of ``wanted`` whoever would get the nickname of somebody who keeps theirs. One who cannot keeps
        the old one, which may stand in the way of the next: so until nobody is left."""
        cannot: list[Member] = []
        while True:
            kept = {names.key(member.nickname) for member in self.members if member.pk not in wanted}
            clash = next((m for m in self.members if names.key(wanted.get(m.pk, "")) in kept), None)
            if clash is None:
                return cannot
            del wanted[clash.pk]
            cannot.append(clash)

    def _added(self, renamed: Sequence[Rename]) -> Iterable[RosterStudent]:
        after = {member.pk: member.nickname for member in self.members}
        after.update({rename.member.pk: rename.nickname for rename in renamed})
        taken = {names.key(nickname) for nickname in after.values()}
        alike = Counter(names.key(student.nickname) for student in self.new)
        for student in self.new:
            nickname = student.nickname
            if self.roster.names_are_ours:
                alone = alike[names.key(nickname)] == 1
                nickname = names.told_apart(nickname, student.initial, taken, alone=alone)
            elif names.key(nickname) in taken:
                self.problems.append(Problem("taken", student.row, nickname))
                continue
            taken.add(names.key(nickname))
            yield RosterStudent(nickname, student.team, student.sourced_id, student.initial, student.row)

    def _left(self) -> Iterable[Member]:
        gone = set(self.roster.gone)
        for member in self.members:
            if member.pk in self.matched:
                continue
            if self.roster.is_whole or (member.sourced_id and member.sourced_id in gone):
                yield member


def is_in(member: Member, team: str) -> bool:
    """Whether a member's team goes by this name."""
    return names.key(team) in {names.key(name) for name in member.teams}
