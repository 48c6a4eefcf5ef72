"""The section of docs/capacity.md about a district's size, from size.json."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.bench.size.figures import slowest
from tests.bench.tables import table

SHOWN = (
    ("my parts", "submissions:part-list", "student"),
    ("report", "submissions:submission-report", "student"),
    ("today", "printing:today", "teacher"),
    ("review desk", "submissions:review-desk", "teacher"),
    ("queue", "printing:request-list", "teacher"),
    ("room plan", "printing:room-plan", "teacher"),
    ("classes", "lessons:class-list", "teacher"),
    ("bench", "printing:bench", "technician"),
    ("today", "printing:today", "administrator"),
    ("review desk", "submissions:review-desk", "administrator"),
    ("classes", "lessons:class-list", "administrator"),
    ("costs", "printing:assignment-costs", "administrator"),
    ("who did what", "privacy:records", "administrator"),
    ("how long things stay", "privacy:keeping", "administrator"),
    ("district", "district:school-list", "district"),
)
HEAD = ("page", "who", "first time, ms", "then, ms", "of it database, ms", "questions", "rows looked at", "MB touched")

YEAR = ("step", "s", "questions", "MB at most", "longest wait elsewhere, s", "in the school, s")


def section(found: Mapping[str, Any]) -> str:
    """Pages, background, the end of a year and the newest migrations, measured at that size."""
    pages = {(page["name"], page["who"]): page for page in found["pages"]}
    rows = [[words, *_figures(pages[name, who])] for words, name, who in SHOWN if (name, who) in pages]
    (most,) = slowest(found["pages"], 1)
    made = f" (written in {found['built_s'] / 60:.0f} minutes)" if found["built_s"] else ""
    whole = sorted({table for page in found["pages"] for table in page["seq"]})
    read = f"Read from end to end, though an index is there: {', '.join(whole)} (a small table)." if whole else ""
    return f"""## At the size of a district

{found["schools"]} schools of {found["classes"]} classes of 30 students with 20 files each, on PostgreSQL with its
settings as they come: {found["rows"]:,} rows{made}. One school among them is asked, in one process, each page for the
first time since its rows were written and three times more. "MB touched" is what the database looks through, in memory
or on the disk: what a first time costs on a slow disk hangs on it.

{table(HEAD, rows)}

Of {len(found["pages"])} pages of all roles none costs the database more than {most["sql_ms"]:.0f} ms
(`{most["name"]}`, {most["who"]}). {read}

What no page asks, in the database:

{table(("what", "ms", "rows looked at"), [_asked(each) for each in found["background"]])}

The end of a school year: all {found["classes"]} classes of a school are archived, and deleted when their days are over,
while somebody in another school, and in the same, stores a file again and again:

{table(YEAR, [_year(each) for each in found["year"]])}

The newest migrations, taken back and done again; how long a table was seen locked against writers, looked at every
20 ms:

{table(("migration", "s", "locked"), [_taken(each) for each in found["migrations"]])}

"""


def _figures(page: Mapping[str, Any]) -> list[object]:
    names = ("first_ms", "ms", "sql_ms")
    return [page["who"], *(round(page[name]) for name in names), page["questions"], f"{page['rows']:,}", page["mb"]]


def _asked(each: Mapping[str, Any]) -> list[object]:
    return [each["name"], each["sql_ms"], f"{each['rows']:,}"]


def _year(each: Mapping[str, Any]) -> list[object]:
    waits = (f"{each['other_waits_s']:.2f}", f"{each['own_waits_s']:.2f}")
    return [each["name"], f"{each['seconds']:.1f}", f"{each['queries']:,}", f"{each['most_mb']:.0f}", *waits]


def _taken(each: Mapping[str, Any]) -> list[object]:
    locked = ", ".join(f"`{table}` {seconds} s" for table, seconds in each["locked_s"].items())
    return [each["name"], f"{each['seconds']:.1f}", locked or "none seen"]
