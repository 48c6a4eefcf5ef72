"""A table whose rows stand one below the other where it is narrow: each cell is told the name of its column.

The style sheet shows the names (``data-label``) on narrow screens only. Laid out as blocks, a table is none any more
for who hears the page, so each of its parts says by its role what it is.
"""

from __future__ import annotations

import re

PART = re.compile(r"<(table|thead|tbody|tfoot|tr|th|td)\b([^>]*)>", re.IGNORECASE)
HEAD = re.compile(r"<thead\b.*?</thead>", re.IGNORECASE | re.DOTALL)
ROW = re.compile(r"<tr\b.*?</tr>", re.IGNORECASE | re.DOTALL)
CELL = re.compile(r"<t[hd]\b([^>]*)>(.*?)</t[hd]>", re.IGNORECASE | re.DOTALL)
BOX = re.compile(r'class="table\b(?! stacks)')
TAG = re.compile(r"<[^>]*>")
SPAN = re.compile(r'\b(col|row)span="(\d+)"')
ROLES = {"table": "table", "thead": "rowgroup", "tbody": "rowgroup", "tfoot": "rowgroup", "tr": "row", "td": "cell"}


def stacked(html: str) -> str:
    """``html``: a box of class ``table`` with one table in it, whose head names the columns."""
    head = HEAD.search(html)
    labels = labels_of(head[0]) if head else {}
    head_end = head.end() if head else 0
    column = 0

    def told(match: re.Match[str]) -> str:
        nonlocal column
        name, attributes = match[1].lower(), match[2]
        if name == "tr":
            column = 0
        more = "" if "role=" in attributes else f' role="{_role(name, attributes, match.start() < head_end)}"'
        if name in ("th", "td"):
            label = labels.get(column, "")
            if match.start() >= head_end and column and label and "data-label=" not in attributes:
                more += f' data-label="{label}"'
            column += _spans(attributes).get("col", 1)
        return f"<{match[1]}{attributes}{more}>"

    return BOX.sub('class="table stacks', PART.sub(told, html), count=1)


def _role(name: str, attributes: str, in_head: bool) -> str:
    if name == "th":
        return "columnheader" if in_head or 'scope="col"' in attributes else "rowheader"
    return ROLES[name]


def _spans(attributes: str) -> dict[str, int]:
    return {way: int(count) for way, count in SPAN.findall(attributes)}


def labels_of(head: str) -> dict[int, str]:
    """Column -> its name, from the top down where the head has several rows, as text that may stand in an attribute."""
    labels: dict[int, list[str]] = {}
    taken: dict[int, int] = {}  # column -> rows of the head that a cell above still fills
    for row in ROW.findall(head):
        column = 0
        filled = {at for at, rows in taken.items() if rows > 0}
        taken = {at: rows - 1 for at, rows in taken.items() if rows > 1}
        for attributes, content in CELL.findall(row):
            while column in filled:
                column += 1
            spans = _spans(attributes)
            words = " ".join(TAG.sub(" ", content).split()).replace('"', "&quot;")
            for at in range(column, column + spans.get("col", 1)):
                if words:
                    labels.setdefault(at, []).append(words)
                if spans.get("row", 1) > 1:
                    taken[at] = spans["row"] - 1
            column += spans.get("col", 1)
    return {at: ", ".join(words) for at, words in labels.items()}
