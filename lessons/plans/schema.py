"""What a lesson plan may hold: its own fields and the parts of ``content``, with labels and limits.

One table for the editor, the import, the comparison of versions and the checks, so that they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from lessons.plans.cautions import ALWAYS, LAB_DAY, PRINTING, TOOLS

Words = str | Promise
ROWS_MOST = 80
LINE_MOST, TEXT_MOST = 200, 2000
MEETINGS_MOST, GROUP_MOST, MINUTES_MOST = 30, 12, 480
LEVELS = 4
EXPERIMENT_BYTES_MOST = 40_000

LINE, TEXT, COUNT, AMOUNT, CHOICE = "line", "text", "count", "amount", "choice"


@dataclass(frozen=True, slots=True)
class Column:
    """One field of a row. ``kind``: LINE, TEXT, COUNT (whole number), AMOUNT (number above 0) or CHOICE."""

    name: str
    label: Words
    kind: str = LINE
    required: bool = True
    low: int = 0
    high: int = 10_000
    choices: tuple[tuple[str, Words], ...] = ()

    @property
    def length(self) -> int:
        return TEXT_MOST if self.kind == TEXT else LINE_MOST


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the content: rows of fields, or with ``plain`` a list of texts (the one column is the text)."""

    name: str
    label: Words
    row: Words  # what one row is called on buttons
    columns: tuple[Column, ...]
    hint: Words = ""
    plain: bool = False


def _texts(name: str, label: Words, row: Words, column: Words, hint: Words = "") -> Part:
    return Part(name, label, row, (Column("text", column, TEXT),), hint, plain=True)


def _materials(name: str, label: Words) -> Part:
    columns = (
        Column("what", _("What")),
        Column("quantity", _("How many"), AMOUNT),
        Column("price", _("Price, if used up"), AMOUNT, required=False),
        Column("note", _("Note"), required=False),
    )
    return Part(name, label, _("thing"), columns)


STEP_KINDS = (
    ("", _("talk, draw or build")),
    (PRINTING, _("at the printers")),
    (TOOLS, _("with tools")),
    (LAB_DAY, _("at the test")),
)
WHEN_WORDS = (
    (PRINTING, pgettext_lazy("when a caution is shown", "printing")),
    (TOOLS, _("tools")),
    (LAB_DAY, _("lab day")),
    (ALWAYS, _("always")),
)
ASSESSMENT_WORDS: tuple[tuple[str, Words], ...] = (
    ("before", _("before the lesson")),
    ("during", _("on the way")),
    ("after", _("at the end")),
)

PARTS: dict[str, Part] = {
    part.name: part
    for part in (
        _texts("objectives", _("Objectives"), _("objective"), _("Students will be able to"), _("One thing a row.")),
        Part(
            "standards",
            _("Standards"),
            _("standard"),
            (Column("code", _("Code")), Column("text", _("What it asks, in your words"), TEXT)),
            _("A code from the list fills in our own wording; write any other standard as text."),
        ),
        Part("subjects", _("Subjects"), _("subject"), (Column("text", _("Subject")),), plain=True),
        _texts("connection", _("Where engineers meet this"), _("paragraph"), _("Who works with it, and at what")),
        _texts(
            "background", _("Known before"), _("thing"), _("What students know or can do already"),
            _("Lessons that come before this one too. Staff see this, students do not."),
        ),
        _materials("materials_per_team", _("Materials for each team")),
        _materials("materials_shared", _("Materials for the whole class")),
        _texts(
            "preparation", _("Preparation"), _("paragraph"), _("Before class"), _("Staff see this, students do not."),
        ),
        Part(
            "steps",
            _("Steps"),
            _("step"),
            (
                Column("meeting", _("Meeting"), COUNT, low=1, high=MEETINGS_MOST),
                Column("minutes", _("Minutes"), COUNT, low=1, high=MINUTES_MOST),
                Column("kind", _("Where"), CHOICE, required=False, choices=STEP_KINDS),
                Column("title", _("Title")),
                Column("text", _("What happens"), TEXT),
            ),
            _("Steps at the printers and with tools bring their cautions with them."),
        ),
        Part(
            "cautions",
            _("Cautions"),
            _("caution"),
            (
                Column("when", _("When"), CHOICE, choices=WHEN_WORDS),
                Column("text", _("Caution"), TEXT),
                Column("source", _("Source")),
            ),
            _("Yours stand beside the standard ones. Those stay as long as the lesson prints or uses tools."),
        ),
        Part(
            "vocabulary",
            _("Words"),
            _("word"),
            (Column("word", _("Word")), Column("meaning", _("Meaning"), TEXT)),
        ),
        _texts("discussion", _("To talk about"), _("prompt"), _("Prompt")),
        _texts(
            "differentiation", _("More help, more challenge"), _("paragraph"), _("For whom and how"),
            _("Staff see this, students do not."),
        ),
        _texts("extensions", _("To go further"), _("paragraph"), _("Idea")),
        Part(
            "rubric",
            _("Rubric"),
            _("row"),
            (
                Column("row", _("What is judged")),
                *(Column(f"level{n}", label, TEXT) for n, label in enumerate(
                    (_("Level 1, first steps"), _("Level 2"), _("Level 3"), _("Level 4, best work")), start=1)),
            ),
        ),
        Part(
            "assessment",
            _("How you see what they learned"),
            _("row"),
            (Column("when", _("When"), CHOICE, choices=ASSESSMENT_WORDS), Column("text", _("What you look at"), TEXT)),
            _("Staff see this, students do not."),
        ),
        Part(
            "troubleshooting",
            _("When it does not work"),
            _("row"),
            (Column("see", _("You see")), Column("try", _("Try"), TEXT)),
            _("Staff see this, students do not."),
        ),
        _texts(
            "sources", _("Sources"), _("source"), _("Book, standard or page, and what it is used for"),
            _("Staff see this, students do not."),
        ),
    )
}  # fmt: skip

# columns a row is stored without when nothing was filled in: rows written before there was such a column stay the same
MAY_LACK = {("steps", "kind"), ("materials_per_team", "price"), ("materials_shared", "price")}

# beside PARTS: whole numbers and the experiment, which has an editor and a reader of its own (lessons.lab.experiment)
MEETING_MINUTES, EXPERIMENT = "meeting_minutes", "experiment"
FIELD_WORDS: dict[str, Words] = {
    "title": _("Title"),
    "summary": _("Summary"),
    "grade_band": _("Grades"),
    "meetings_count": _("Meetings"),
    "group_size": _("Students in a team"),
    MEETING_MINUTES: _("Minutes of a meeting"),
    EXPERIMENT: _("Experiment"),
    **{part.name: part.label for part in PARTS.values()},
}


def assessed_when(key: str) -> str:
    """When an assessment is made, in words; what is none of ours as it stands."""
    return str(dict(ASSESSMENT_WORDS).get(key, key))


def flat(part: Part, row: Any) -> dict[str, Any]:
    """A stored row as column name to value: levels of a rubric apart, a plain text under ``text``."""
    if part.plain:
        return {"text": row}
    if not isinstance(row, dict):
        return {}
    if part.name == "rubric":
        raw = row.get("levels")
        levels = raw if isinstance(raw, list) else []
        return {"row": row.get("row", ""), **{f"level{n}": text for n, text in enumerate(levels[:LEVELS], start=1)}}
    return dict(row)


def stored(part: Part, values: dict[str, Any]) -> Any:
    """The other way round: a row as ``content`` holds it."""
    if part.plain:
        return values["text"]
    if part.name == "rubric":
        return {"row": values["row"], "levels": [values[f"level{n}"] for n in range(1, LEVELS + 1)]}
    return {
        column.name: values[column.name]
        for column in part.columns
        if values[column.name] != "" or (part.name, column.name) not in MAY_LACK
    }
