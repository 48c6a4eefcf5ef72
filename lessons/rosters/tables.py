"""Class lists people make themselves: pasted lines, and CSV with columns found by name."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from lessons.rosters import names
from lessons.rosters.problems import Problem, RosterRefused
from lessons.rosters.text import Columns, decode, plain, rows_of, separator_of, table_of, without_separator_line
from lessons.rosters.values import Roster, RosterStudent

MAX_BYTES = 1024 * 1024
MAX_STUDENTS = 500  # of one list; a class has some thirty
SOURCED_ID_MAX = 255  # a OneRoster GUID is at most 255 characters

# accepted heads, best first, as ``text.plain`` writes them
NICKNAME_HEADS = (
    "nickname", "nick", "preferredname", "preferredgivenname", "preferredfirstname", "displayname", "firstname",
    "givenname", "name", "student", "studentname",
)  # fmt: skip
TEAM_HEADS = ("team", "group", "crew", "teamname", "teamnumber")
ID_HEADS = ("sourcedid", "id")
_PASTED_TEAM = re.compile(r"[,;\t|]")
_PACKED = (b"PK\x03\x04", b"PK\x05\x06", b"\xd0\xcf\x11\xe0", b"\x1f\x8b", b"%PDF")


def read_paste(text: str) -> Roster:
    """One nickname a line, a team behind a comma, semicolon or tab if wanted. Raises RosterRefused."""
    if not text.strip():
        raise RosterRefused("empty")
    if len(text) > MAX_BYTES:
        raise RosterRefused("too_large", found="1 MB")
    collected = _Collector()
    for row, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            name, *rest = _PASTED_TEAM.split(line, maxsplit=1)
            collected.add(row, name, rest[0] if rest else "", "")
    return collected.roster()


def read_csv(data: bytes) -> Roster:
    """A CSV file with a column for nicknames, and teams and keys if it has them; other columns are named and ignored.

    A file of one column without a head is a plain list. Raises RosterRefused.
    """
    if len(data) > MAX_BYTES:
        raise RosterRefused("too_large", found="1 MB")
    if data.startswith(_PACKED):
        raise RosterRefused("workbook")
    text, notes = decode(data)
    text = without_separator_line(text)
    separator = separator_of(text)
    head, table = table_of(text, separator)
    columns = _columns(head)
    if "nickname" not in columns:
        if len(head) > 1:
            raise RosterRefused("no_column", row=1)
        columns, table = Columns({"nickname": 0}, 1), rows_of(text, separator)
    collected = _Collector(notes=[*notes, *_ignored(head, columns)])
    for row, cells in table:
        collected.add(row, *(columns.get(cells, name) for name in ("nickname", "team", "id")))
    return collected.roster()


def _columns(head: Sequence[str]) -> Columns:
    found = [plain(cell) for cell in head]
    places: dict[str, int] = {}
    for name, heads in (("nickname", NICKNAME_HEADS), ("team", TEAM_HEADS), ("id", ID_HEADS)):
        place = next((found.index(wanted) for wanted in heads if wanted in found), None)
        if place is not None:
            places[name] = place
    return Columns(places, len(head))


def _ignored(head: Sequence[str], columns: Columns) -> Iterable[Problem]:
    rest = [names.clean(cell) for place, cell in enumerate(head) if place not in columns.places.values()]
    rest = [name for name in rest if name]
    if rest:
        yield Problem("ignored", row=1, found=", ".join(rest))


@dataclass(slots=True)
class _Collector:
    """Rows one after the other; what cannot stay is told, never dropped in silence."""

    notes: list[Problem] = field(default_factory=list)
    students: list[RosterStudent] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    seen: set[str] = field(default_factory=set)
    ids: set[str] = field(default_factory=set)

    def add(self, row: int, name: str, team: str, sourced_id: str) -> None:
        nickname, sourced_id = names.clean(name), sourced_id[:SOURCED_ID_MAX]
        code = names.fault(nickname)
        if not code and names.key(nickname) in self.seen:
            code = "twice"
        if not code and sourced_id and sourced_id in self.ids:
            code, nickname = "id_twice", sourced_id
        if code:
            self.problems.append(Problem(code, row, nickname))
            return
        if len(self.students) == MAX_STUDENTS:
            raise RosterRefused("too_many_rows", row=row, found=str(MAX_STUDENTS))
        self.seen.add(names.key(nickname))
        self.ids.add(sourced_id)
        self.students.append(
            RosterStudent(nickname, names.clean(team)[: names.NICKNAME_MAX], sourced_id=sourced_id, row=row)
        )

    def roster(self) -> Roster:
        if not self.students and not self.problems:
            raise RosterRefused("empty")
        return Roster(tuple(self.students), tuple(self.problems), (*self.notes, *self._odd()))

    def _odd(self) -> Iterable[Problem]:
        teams = [names.key(student.team) for student in self.students if student.team]
        if len(teams) >= 6 and len(set(teams)) > 0.8 * len(teams):
            yield Problem("many_teams")
        full = [student for student in self.students if names.looks_full(student.nickname)]
        if full and len(full) * 2 >= len(self.students):
            yield Problem("full_names", full[0].row, full[0].nickname)
