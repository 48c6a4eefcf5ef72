"""The state tables of the apps as a page of diagrams, so that the docs cannot drift from the code."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import printing.states
import submissions.states

PAGE = Path(__file__).resolve().parent.parent / "docs" / "states.md"
Table = Mapping[tuple[str, str], str]

TABLES: dict[str, tuple[str, Table]] = {
    "Submission": ("submissions/states.py", submissions.states.TRANSITIONS),
    "Copy of a part": ("printing/states.py", printing.states.COPY_TRANSITIONS),
    "Plate": ("printing/states.py", printing.states.PLATE_TRANSITIONS),
}


def diagram(table: Table) -> str:
    """A Mermaid state diagram of one transition table, in the table's order."""
    lines = [f"    {before} --> {after}: {step.replace('_', ' ')}" for (before, step), after in table.items()]
    first = next(iter(table))[0]
    return "\n".join(["stateDiagram-v2", f"    [*] --> {first}", *lines])


def page() -> str:
    parts = ["# States", "", "Generated from the code by `python manage.py write_docs`; do not edit."]
    for name, (source, table) in TABLES.items():
        parts += ["", f"## {name}", "", f"From `queue/{source}`.", "", "```mermaid", diagram(table), "```"]
    return "\n".join(parts) + "\n"
