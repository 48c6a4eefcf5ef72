"""Write the reference page of all findings: ``python -m meshcheck.reference [FILE]``, docs/findings.md by default."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from meshcheck.catalogue import ENTRIES, Entry
from meshcheck.for_teachers import FOR_TEACHERS
from meshcheck.types import Level

PAGE = Path(__file__).parents[2] / "docs" / "findings.md"

HEAD = """# Findings

Every statement a check can make about a part, made from `meshcheck.catalogue` by `python -m meshcheck.reference`.
Do not edit this page: change the catalogue and write the page again; a test compares them.

Words in `{curly brackets}` are figures of the part. A file that cannot be read at all is reported with a code of its
own (such as `truncated` or `too_many_faces`), the words of the reader, and the level "must fix".
"""

LEVELS = (
    (Level.MUST_FIX, "Must be fixed", "The part is sent back until these are mended."),
    (Level.ADVICE, "Advice", "The part can be printed; these say what would make it better."),
    (Level.PASSES, "Passes", "What was checked and is well."),
)


def page() -> str:
    """The whole page in Markdown, each level's findings in the order of the catalogue."""
    parts = [HEAD]
    for level, title, note in LEVELS:
        parts.append(f"\n## {title}\n\n{note}\n")
        parts += [_entry(code, entry) for code, entry in ENTRIES.items() if entry.level is level]
    return "".join(parts)


def _entry(code: str, entry: Entry) -> str:
    lines = [f"\n### `{code}`: {_marked(entry.title)}\n"]
    for name, text in (
        ("Figure", entry.figure),
        ("Why it matters", entry.why),
        ("How to mend it", entry.mend),
        ("For the teacher", FOR_TEACHERS.get(code, "")),
        ("Limit from", entry.limit_source),
    ):
        if text:
            lines.append(f"- {name}: {_marked(text)}")
    return "\n".join(lines) + "\n" if len(lines) > 1 else lines[0]


def _marked(text: str) -> str:
    """Figures as `{name}`, without the way they are rounded."""
    return re.sub(r"\{(\w+)(?::[^}]*)?\}", r"`{\1}`", text)


def main() -> None:
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else PAGE
    target.write_text(page(), encoding="utf-8")
    sys.stdout.write(f"{target}: {len(ENTRIES)} findings\n")


if __name__ == "__main__":
    main()
