"""From bytes to rows: encodings, the separator, and columns by their names."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lessons.rosters.problems import Problem, RosterRefused

SEPARATORS = ",;\t|"
_SAMPLE_ROWS = 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16: its mark begins with theirs
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes, file: str = "") -> tuple[str, tuple[Problem, ...]]:
    """The text of a file and a note when its encoding had to be guessed.

    A byte order mark decides; else UTF-8; else Windows-1252, which table programs still write. Raises RosterRefused.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            try:
                return _checked(data[len(mark) :].decode(encoding), file), ()
            except UnicodeDecodeError as error:
                raise RosterRefused("encoding", file=file) from error
    if b"\0" in data:
        raise RosterRefused("binary", file=file)
    try:
        return _checked(data.decode("utf-8"), file), ()
    except UnicodeDecodeError:
        pass
    try:
        return _checked(data.decode("cp1252"), file), (Problem("old_letters", file=file),)
    except UnicodeDecodeError as error:
        raise RosterRefused("encoding", file=file) from error


def _checked(text: str, file: str) -> str:
    if "\0" in text:
        raise RosterRefused("binary", file=file)
    if not text.strip():
        raise RosterRefused("empty", file=file)
    return text


def rows_of(text: str, separator: str, file: str = "") -> Iterator[tuple[int, list[str]]]:
    """Rows that are not blank, each with the number of its first line. Raises RosterRefused at a quote never closed."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    first = 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                yield first, row
            first = reader.line_num + 1
    except csv.Error as error:
        raise RosterRefused("quotes", row=first, file=file) from error


def table_of(text: str, separator: str, file: str = "") -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """The head and the rows beneath it. Raises RosterRefused when no row holds anything."""
    rows = rows_of(text, separator, file)
    first = next(rows, None)
    if first is None:
        raise RosterRefused("empty", file=file)
    return first[1], rows


def separator_of(text: str) -> str:
    """The separator that cuts the first rows into the most columns, evenly; a comma when none does."""

    def score(separator: str) -> tuple[bool, int]:
        try:
            widths = [len(row) for _, row in zip(range(_SAMPLE_ROWS), _lenient(text, separator), strict=False) if row]
        except csv.Error:
            return False, 0
        return len(set(widths)) == 1, widths[0] if widths else 0

    best = max(SEPARATORS, key=lambda separator: (score(separator)[1] > 1, *score(separator)))
    return best if score(best)[1] > 1 else ","


def separator_by_head(text: str, columns: Sequence[str]) -> tuple[str, str]:
    """The separator with which the head names the most of the columns, and the text without a line that only says
    which separator it is, which some table programs write first."""
    text = without_separator_line(text)
    wanted = {plain(column) for column in columns}

    def found(separator: str) -> int:
        try:
            head = next((row for row in _lenient(text, separator) if any(cell.strip() for cell in row)), [])
        except csv.Error:
            return 0
        return len(wanted & {plain(cell) for cell in head})

    return max(SEPARATORS, key=found), text


def without_separator_line(text: str) -> str:
    """The text without a first line ``sep=;``. Row 1 is the line beneath it, as table programs count."""
    first, _, rest = text.partition("\n")
    return rest if first.strip().casefold() in {f"sep={each}".strip() for each in SEPARATORS} else text


def _lenient(text: str, separator: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=separator)


def plain(head: str) -> str:
    """A column head without case, spaces, hyphens and underscores: "Nick name" and "nick_name" are one."""
    return "".join(c for c in head.casefold() if c.isalnum())


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column holds what, by the head of the table."""

    places: dict[str, int]
    width: int

    def get(self, row: Sequence[str], name: str) -> str:
        """The cell under a name, without blanks around it; empty when there is no such column or the row is short."""
        place = self.places.get(name, -1)
        return row[place].strip() if 0 <= place < len(row) else ""

    def __contains__(self, name: str) -> bool:
        return name in self.places
