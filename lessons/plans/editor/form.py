"""Everything typed in the editor of a plan, kept as typed until it is saved.

Names of fields: those of OWN; ``<part>-rows`` counts the rows of a part, ``<part>-<row>-<column>`` is one cell;
``version`` is the version the page was made from. A part whose count was not sent was not open on the page: it stays as
the plan has it, so that a page of a long lesson need not carry all of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from lessons.models import LessonPlan
from lessons.plans import schema
from lessons.plans.cautions import PRINTING, is_standard, standard_for
from lessons.plans.checks import Checked, Place, check_plan, is_empty
from lessons.plans.schema import CHOICE, MEETING_MINUTES, PARTS, TEXT, Column, Part
from lessons.plans.standards import paraphrase

OWN = ("title", "summary", "grade_band", "meetings_count", "group_size", MEETING_MINUTES)
TYPED_MOST = 20_000  # of one field: nobody types that; the checks name the true limits
SHORT_ROWS = 2
OPEN_CELLS_MOST = 60  # a plan with no more fields than this is shown with all its parts open
GIST_LENGTH = 110
Cells = dict[str, str]


@dataclass(frozen=True, slots=True)
class Cell:
    """One input: name, label, what was typed and what is wrong with it."""

    column: Column
    name: str
    value: str
    error: str
    focus: bool

    @property
    def rows(self) -> int:
        """Lines of a text area: as many as its text wants, to a point."""
        return min(12, max(SHORT_ROWS, len(self.value) // 42 + self.value.count("\n") + 1))

    @property
    def is_text(self) -> bool:
        return self.column.kind == TEXT

    @property
    def is_choice(self) -> bool:
        return self.column.kind == CHOICE

    @property
    def mode(self) -> str:
        return {schema.COUNT: "numeric", schema.AMOUNT: "decimal"}.get(self.column.kind, "")


@dataclass(frozen=True, slots=True)
class Row:
    """One row on the page; ``held`` says which of its buttons gets the focus."""

    number: int
    cells: list[Cell]
    first: bool
    last: bool
    held: str = ""

    @property
    def place(self) -> int:
        return self.number - 1


@dataclass
class PlanForm:
    """``typed`` by own field, ``rows`` by part; errors by place as in lessons.plans.checks."""

    version: int
    typed: dict[str, str] = field(default_factory=dict)
    rows: dict[str, list[Cells]] = field(default_factory=dict)
    errors: dict[Place, str] = field(default_factory=dict)
    focus: tuple[str, int, str] = ("", -1, "")  # part, row, column or button
    said: str = ""  # for the live region
    opened: set[str] = field(default_factory=set)  # parts whose rows stand on the page

    @classmethod
    def of_plan(cls, plan: LessonPlan) -> PlanForm:
        """As the plan stands. Standard cautions are no rows: nobody edits them."""
        form = cls.of_values(plan.version, {name: getattr(plan, name, "") for name in OWN}, plan.content)
        cells = sum(len(rows) * len(PARTS[name].columns) for name, rows in form.rows.items())
        form.opened = set(PARTS) if cells <= OPEN_CELLS_MOST else set()
        return form

    @classmethod
    def of_values(cls, version: int, fields: Mapping[str, Any], content: Mapping[str, Any]) -> PlanForm:
        typed = {name: _shown(fields.get(name)) for name in OWN}
        typed[MEETING_MINUTES] = _shown(content.get(MEETING_MINUTES))
        rows = {}
        for part in PARTS.values():
            found = content.get(part.name)
            kept = [row for row in found if not (part.name == "cautions" and is_standard(row))] if found else []
            rows[part.name] = [
                {column.name: _shown(schema.flat(part, row).get(column.name)) for column in part.columns}
                for row in kept
            ]
        return cls(version, typed, rows)

    @classmethod
    def of_post(cls, data: Mapping[str, str], plan: LessonPlan) -> PlanForm:
        """As typed, line ends aside. Counts that cannot be are taken as none."""
        typed = {name: _lines(data.get(name, "")) for name in OWN}
        rows = cls.of_plan(plan).rows
        opened = {name for name in PARTS if f"{name}-rows" in data}
        for part in (PARTS[name] for name in opened):
            count = _whole(data[f"{part.name}-rows"], schema.ROWS_MOST + 1)
            rows[part.name] = [
                {column.name: _lines(data.get(f"{part.name}-{row}-{column.name}", "")) for column in part.columns}
                for row in range(count)
            ]
        return cls(_whole(data.get("version", ""), 10**9), typed, rows, opened=opened)

    def do(self, asked: str) -> None:
        """``open:<part>``, ``add:<part>``, ``remove:<part>:<row>``, ``up:...``, ``down:...``, ``fill:standards:<row>``;
        whatever cannot be done is left."""
        verb, _colon, rest = asked.partition(":")
        name, _colon, number = rest.partition(":")
        part = PARTS.get(name)
        if part is None:
            return
        rows = self.rows[name]
        at = _whole(number, len(rows))
        self.opened.add(name)
        if verb == "open":
            self.focus = (name, 0 if rows else -1, part.columns[0].name if rows else "remove")
            self.said = _("%(part)s: open.") % {"part": part.label}
        elif verb == "add" and len(rows) < schema.ROWS_MOST:
            rows.append(self._new_row(part))
            self.focus, self.said = (name, len(rows) - 1, part.columns[0].name), _("A row was added at the end.")
        elif verb == "remove" and at < len(rows):
            rows.pop(at)
            self.focus, self.said = (name, min(at, len(rows) - 1), "remove"), _("The row was taken out.")
        elif verb in ("up", "down"):
            self._move(name, at, -1 if verb == "up" else 1, verb)
        elif verb == "fill" and at < len(rows) and (text := paraphrase(rows[at].get("code", ""))):
            rows[at]["text"], self.focus = text, (name, at, "text")
            self.said = _("Our wording was filled in. Change it as you like.")

    def _move(self, name: str, at: int, step: int, verb: str) -> None:
        rows, to = self.rows[name], at + step
        if not (at < len(rows) and 0 <= to < len(rows)):
            return
        rows[at], rows[to] = rows[to], rows[at]
        ends = {0: "down", len(rows) - 1: "up"}
        self.focus = (name, to, ends.get(to, verb))
        self.said = _("Row %(row)d is now row %(now)d.") % {"row": at + 1, "now": to + 1}

    def _new_row(self, part: Part) -> Cells:
        row = dict.fromkeys((column.name for column in part.columns), "")
        last = self.rows[part.name][-1] if self.rows[part.name] else {}
        if part.name == "steps":
            row["meeting"] = last.get("meeting", "1")
        elif part.name == "cautions":
            row["when"] = PRINTING
        elif "quantity" in row:
            row["quantity"] = "1"
        return row

    def drop_empty(self) -> None:
        """Take out rows in which nothing was written, so that errors and rows stand at the same place; a standard of
        our table without a text gets ours."""
        for row in self.rows["standards"]:
            row["text"] = row["text"] or paraphrase(row["code"])
        for part in PARTS.values():
            self.rows[part.name] = [row for row in self.rows[part.name] if not is_empty(part, row)]

    def check(self) -> Checked:
        """Read everything typed; errors stand on the form afterwards."""
        self.drop_empty()
        content: dict[str, Any] = {MEETING_MINUTES: self.typed[MEETING_MINUTES]}
        for part in PARTS.values():
            content[part.name] = [_raw(part, row) for row in self.rows[part.name]]
        checked = check_plan({name: self.typed[name] for name in OWN if name != MEETING_MINUTES}, content)
        checked.content.setdefault(MEETING_MINUTES, None)
        self.errors = checked.errors
        return checked

    def parts(self) -> Iterator[PartView]:
        """The parts in the order of the page."""
        for part in PARTS.values():
            yield PartView(self, part)

    def own(self) -> dict[str, OwnField]:
        return {name: OwnField(name, self.typed[name], self.errors.get((name, -1, ""), "")) for name in OWN}

    def error_count(self) -> int:
        return len(self.errors)

    def needed_cautions(self, has_kit: bool) -> list[dict[str, str]]:
        """Standard cautions that this plan has whatever is typed."""
        return standard_for({"steps": self.rows["steps"]}, has_kit)


@dataclass(frozen=True, slots=True)
class OwnField:
    """One of the plan's own fields on the page."""

    name: str
    value: str
    error: str

    @property
    def label(self) -> str | Promise:
        return schema.FIELD_WORDS[self.name]


@dataclass(frozen=True, slots=True)
class PartView:
    """One part of the content on the page."""

    form: PlanForm
    part: Part

    @property
    def error(self) -> str:
        return self.form.errors.get((self.part.name, -1, ""), "")

    @property
    def count(self) -> int:
        return len(self.form.rows[self.part.name])

    @property
    def rows(self) -> list[Row]:
        return [self._row(at, cells) for at, cells in enumerate(self.form.rows[self.part.name])]

    @property
    def is_open(self) -> bool:
        """Whether its rows stand on the page; what needs mending always does."""
        return self.part.name in self.form.opened or any(place[0] == self.part.name for place in self.form.errors)

    @property
    def gist(self) -> str:
        """The beginnings of its rows, to know it by while it is closed."""
        column = "title" if self.part.name == "steps" else self.part.columns[0].name
        words = " · ".join(row.get(column, "") for row in self.form.rows[self.part.name])
        return words if len(words) <= GIST_LENGTH else words[: GIST_LENGTH - 1].rstrip() + "…"

    @property
    def adds_focus(self) -> bool:
        """Whether the add button gets the focus: the last row was taken out."""
        return self.form.focus == (self.part.name, -1, "remove")

    def _row(self, at: int, typed: Cells) -> Row:
        name, form = self.part.name, self.form
        held = form.focus[2] if form.focus[:2] == (name, at) else ""
        cells = [
            Cell(
                column,
                f"{name}-{at}-{column.name}",
                typed.get(column.name, ""),
                form.errors.get((name, at, column.name), ""),
                held == column.name,
            )
            for column in self.part.columns
        ]
        return Row(at + 1, cells, at == 0, at == self.count - 1, held)


def _raw(part: Part, row: Cells) -> Any:
    """A row as the checks take it."""
    if part.plain:
        return row["text"]
    if part.name == "rubric":
        return {"row": row["row"], "levels": [row[f"level{n}"] for n in range(1, schema.LEVELS + 1)]}
    return dict(row)


def _shown(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _lines(text: str) -> str:
    return text.replace("\r\n", "\n")[:TYPED_MOST]


def _whole(text: str, most: int) -> int:
    return min(int(text), most) if text.isascii() and text.isdigit() and len(text) < 12 else 0
