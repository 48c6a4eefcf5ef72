"""The CSV files of a OneRoster package: which are there, which columns are read, what status a row has.

1EdTech, "OneRoster CSV Tables" 1.1 (2017) and 1.2 (2022): comma-separated, UTF-8, a head whose spelling counts. A table
program saves such a file with semicolons, tabs, other letters and keys turned into numbers: what can be read safely is
read and told. Columns are found by name and all others ignored; files not named here (demographics, user profiles,
results ...) are never opened, so no password, e-mail, telephone number or birthday is ever looked at.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from lessons.packed import Archive
from lessons.rosters.problems import Problem, RosterRefused
from lessons.rosters.tables import SOURCED_ID_MAX
from lessons.rosters.text import Columns, decode, plain, rows_of, separator_by_head, table_of

MAX_ROWS = 300_000

# columns read, those a class list cannot do without first; each file has these three besides
COMMON = ("sourcedId", "status", "dateLastModified")
NEEDED = {
    "users.csv": ("givenName",),
    "classes.csv": ("title",),
    "enrollments.csv": ("classSourcedId", "userSourcedId", "role"),
    "academicSessions.csv": ("title",),
    "roles.csv": ("userSourcedId", "role"),
}
WANTED = {
    "users.csv": ("familyName", "preferredGivenName", "role", "enabledUser"),
    "classes.csv": ("termSourcedIds",),
    "enrollments.csv": ("endDate",),
    "academicSessions.csv": ("schoolYear",),
    "roles.csv": ("endDate",),
}
VERSIONS = ("1.1", "1.2")
ACTIVE, TO_BE_DELETED = "active", "tobedeleted"
OPTIONAL = ("academicSessions.csv", "roles.csv")
MANIFEST_HEAD = ("propertyName", "value")
# what table programs make of a key of many digits; several keys become the same number, so none can be trusted
_AS_NUMBER = re.compile(r"\d(?:[.,]\d+)?E\+\d+", re.IGNORECASE)
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def columns_of(name: str) -> tuple[str, ...]:
    """The columns read from a file."""
    return (*COMMON, *NEEDED[name], *WANTED[name])


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its number, its key, whether it is marked as to be deleted, and the columns we read."""

    row: int
    sourced_id: str
    is_gone: bool
    values: dict[str, str]

    def __getitem__(self, name: str) -> str:
        return self.values.get(name, "")


@dataclass(slots=True)
class Files:
    """A package's files with its manifest, collecting what could not be read."""

    archive: Archive
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    version: str = ""
    modes: dict[str, str] = field(default_factory=dict)  # file -> bulk, delta or absent, as the manifest says

    def read_manifest(self) -> None:
        """Take version and modes from manifest.csv; without one, roles.csv tells 1.2 from 1.1."""
        if "manifest.csv" not in self.archive:
            self.version = "1.2" if "roles.csv" in self.archive else "1.1"
            self.notes.append(Problem("no_manifest", found=self.version))
            return
        text, _ = decode(self.archive.read("manifest.csv"), "manifest.csv")
        stated = {}
        separator, text = separator_by_head(text, MANIFEST_HEAD)
        for _, cells in rows_of(text, separator, "manifest.csv"):
            if len(cells) >= 2:
                stated[cells[0].strip().casefold()] = cells[1].strip().casefold()
        version = stated.get("oneroster.version", "")
        self.version = next((known for known in VERSIONS if version == known or version.startswith(f"{known}.")), "")
        if not self.version:
            raise RosterRefused("version", found=version or "?", file="manifest.csv")
        for name in NEEDED:
            self.modes[name] = stated.get(f"file.{name.removesuffix('.csv')}".casefold(), "")
        for name in OPTIONAL:
            if self.modes[name] in {"bulk", "delta"} and name not in self.archive:
                self.notes.append(Problem("not_there", found=name, file="manifest.csv"))

    def is_delta(self, name: str) -> bool:
        return self.modes.get(name) == "delta"

    def has(self, name: str) -> bool:
        return name in self.archive and self.modes.get(name) != "absent"

    def lines(self, name: str) -> list[Line]:
        """The rows of a file that can be used, one for each key: the one changed last counts.

        Raises RosterRefused when the file or a column it needs is missing.
        """
        if self.modes.get(name) == "absent":
            raise RosterRefused("absent_file", found=name, file="manifest.csv")
        text, notes = decode(self.archive.read(name), name)
        self.notes.extend(notes)
        separator, text = separator_by_head(text, columns_of(name))
        if separator != ",":
            self.notes.append(Problem("separator", file=name))
        head, table = table_of(text, separator, name)
        columns = self._columns(name, head)
        return list(self._newest(name, columns, table))

    def _newest(self, name: str, columns: Columns, table: Iterable[tuple[int, list[str]]]) -> Iterable[Line]:
        newest: dict[str, tuple[str, Line]] = {}
        for count, (row, cells) in enumerate(table):
            if count == MAX_ROWS:
                raise RosterRefused("too_many_rows", row=row, found=f"{MAX_ROWS:,}", file=name)
            line = self._line(name, columns, row, cells)
            if line is None:
                continue
            modified = columns.get(cells, "dateLastModified")
            modified = modified if _ISO_DATE.match(modified) else ""
            before = newest.get(line.sourced_id)
            if before and not self.is_delta(name) and before[1].values != line.values:
                self.problems.append(Problem("key_again", row, line.sourced_id, name))
            if before is None or modified >= before[0]:
                newest[line.sourced_id] = (modified, line)
        return [line for _, line in newest.values()]

    def _columns(self, name: str, head: list[str]) -> Columns:
        heads = [cell.strip() for cell in head]
        alike = [plain(cell) for cell in heads]
        places, respelled = {}, []
        for column in columns_of(name):
            if column in heads:
                places[column] = heads.index(column)
            elif plain(column) in alike:
                places[column] = alike.index(plain(column))
                respelled.append(heads[places[column]])
        if respelled:
            self.notes.append(Problem("head_case", 1, ", ".join(respelled), name))
        if missing := [column for column in ("sourcedId", *NEEDED[name]) if column not in places]:
            raise RosterRefused("no_file_column", 1, ", ".join(missing), name)
        if name == "users.csv" and (
            rest := [cell for cell in heads if cell and heads.index(cell) not in places.values()]
        ):
            self.notes.append(Problem("ignored", 1, ", ".join(rest), name))
        return Columns(places, len(heads))

    def _line(self, name: str, columns: Columns, row: int, cells: list[str]) -> Line | None:
        """The row, or None with a problem noted."""
        needed = max(columns.places[column] for column in ("sourcedId", *NEEDED[name]))
        sourced_id, status = columns.get(cells, "sourcedId"), columns.get(cells, "status").casefold()
        code, found = "", ""
        if len(cells) <= needed:
            code = "short_row"
        elif not sourced_id or len(sourced_id) > SOURCED_ID_MAX:
            code = "no_id"
        elif _AS_NUMBER.fullmatch(sourced_id):
            code, found = "key_as_number", sourced_id
        elif not status and self.is_delta(name):
            code = "no_status"
        elif status not in {"", ACTIVE, TO_BE_DELETED}:
            code, found = "status", status
        if code:
            self.problems.append(Problem(code, row, found, name))
            return None
        values = {column: columns.get(cells, column) for column in (*NEEDED[name], *WANTED[name])}
        return Line(row, sourced_id, status == TO_BE_DELETED, values)
