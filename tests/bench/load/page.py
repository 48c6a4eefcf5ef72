"""docs/capacity.md and its plot from what the benches kept: ``python -m tests.bench.load.page FOLDER``."""

from __future__ import annotations

import hashlib
import json
import math
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from tests.bench.load.report import POLLS
from tests.bench.plan.report import processor_s
from tests.bench.size.section import section
from tests.bench.tables import table

DOCS = Path(__file__).resolve().parents[3] / "docs"
PAGE, PLOT = DOCS / "capacity.md", DOCS / "capacity-checks.svg"
VERDICT = "file chosen to verdict"
STEPS = ("student signs in", "upload answered", POLLS, "my parts", "review desk", "approve", VERDICT)
INK, PEN, SOFT = "#17202e", "#2a3fa0", "#8a927f"
LEFT, TOP, WIDE, HIGH = 70, 20, 460, 300  # px of the field both logarithms run over
X_DECADES, Y_DECADES = (3, 6), (-1, 1)  # powers of ten: triangles, seconds
ROUNDS = 1_000_000
PARTS_A_STUDENT, STUDENTS, CLASSES, SCHOOL_DAYS_H = 2, 30, 40, 6  # what the sizing table takes for a school day


def _x(triangles: float) -> float:
    low, high = X_DECADES
    return round(LEFT + WIDE * (math.log10(triangles) - low) / (high - low), 1)


def _y(seconds: float) -> float:
    low, high = Y_DECADES
    return round(TOP + HIGH * (high - math.log10(seconds)) / (high - low), 1)


def drawing(checks: Sequence[tuple[int, float]]) -> str:
    """Triangles along the bottom and seconds of a core upwards, both by powers of ten."""
    parts = ['<rect width="560" height="380" fill="#fffffb"/>']
    for power in range(X_DECADES[0], X_DECADES[1] + 1):
        at = _x(10**power)
        parts.append(f'<path d="M{at} {TOP}V{TOP + HIGH}" stroke="{SOFT}" stroke-width="0.5"/>')
        parts.append(f'<text x="{at}" y="{TOP + HIGH + 20}" text-anchor="middle">{10**power:,}</text>')
    for power in range(Y_DECADES[0], Y_DECADES[1] + 1):
        at = _y(10.0**power)
        parts.append(f'<path d="M{LEFT} {at}H{LEFT + WIDE}" stroke="{SOFT}" stroke-width="0.5"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{at + 5}" text-anchor="end">{10.0**power:g} s</text>')
    line = " ".join(f"{_x(triangles)},{_y(seconds)}" for triangles, seconds in checks)
    parts.append(f'<polyline points="{line}" fill="none" stroke="{PEN}" stroke-width="1.5"/>')
    parts += [f'<circle cx="{_x(each)}" cy="{_y(seconds)}" r="4" fill="{PEN}"/>' for each, seconds in checks]
    middle = LEFT + WIDE / 2
    parts.append(f'<text x="{middle}" y="{TOP + HIGH + 44}" text-anchor="middle">triangles of the file</text>')
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 380" role="img" aria-labelledby="t" '
        f'font-family="sans-serif" font-size="13" fill="{INK}"><title id="t">Seconds of a core for one check, '
        f"by triangles</title>{''.join(parts)}</svg>\n"
    )


def read(page: str) -> list[tuple[int, float]]:
    """Triangles and seconds of the checks on a page made by ``page``."""
    rows = re.findall(r"^\| ([\d,]+) \| [\d.]+ \| ([\d.]+) \|$", page, re.MULTILINE)
    return [(int(triangles.replace(",", "")), float(seconds)) for triangles, seconds in rows]


def rush_table(rushes: Mapping[str, Mapping[str, Any]]) -> str:
    """Each step's p50, p95 and p99 in seconds, one column a profile."""
    rows: list[list[object]] = []
    for step in STEPS:
        found = [rush["steps"].get(step) or rush.get(step) or {} for rush in rushes.values()]
        cells = [f"{each['p50']:.2f} / {each['p95']:.2f} / {each['p99']:.2f}" if each else "-" for each in found]
        rows.append([f"{step}, s", *cells])
    for word in ("requests a second", "without verdict", "one 5 MB file alone"):
        rows.append([word, *(rush[word] for rush in rushes.values())])
    rows.append(["errors", *(len(rush["errors"]) for rush in rushes.values())])
    for kind in ("web", "measure", "worker"):
        rows.append([f"{kind}: CPU s, MB at most", *(_taken(rush["processes"], kind) for rush in rushes.values())])
    for server in SERVERS:  # no memory: its processes share most of theirs
        spent = [rush["processes"].get(server) for rush in rushes.values()]
        rows.append([f"{server}: CPU s", *(f"{each['cpu_s']:.0f}" if each else "-" for each in spent)])
    return table(["p50 / p95 / p99", *rushes], rows)


def _taken(processes: Mapping[str, Mapping[str, float]], kind: str) -> str:
    own = [each for name, each in processes.items() if name.startswith(kind)]
    return f"{sum(each['cpu_s'] for each in own):.0f}; {max(each['most_mb'] for each in own)}" if own else "-"


def queries_table(queries: Mapping[str, int]) -> str:
    return table(["step", "questions to the database"], [[name, count] for name, count in queries.items()])


def cost_table(rushes: Mapping[str, Mapping[str, Any]]) -> str:
    """What 1,000 parts take from the class code to the hand-in, everything that runs counted."""
    rows = []
    for name, rush in rushes.items():
        cpu_s = sum(each["cpu_s"] for each in rush["processes"].values())
        parts = rush["students"]
        rows.append([name, f"{1000 * cpu_s / parts / 60:.0f}", f"{rush['stored_mb'] / parts:.1f}"])
    return table(["1,000 parts", "minutes of a core", "GB of files and pictures"], rows)


def soak_words(soak: Mapping[str, Any]) -> str:
    """What half an hour did to the memory."""
    grown = ", ".join(f"{name} {100 * share:+.1f} %" for name, share in soak["growth"].items())
    polls = soak["steps"][POLLS]
    return (
        f"{soak['minutes']:g} minutes with {soak['pages']} open pages and {soak['students']} files, one after the "
        f"other: {len(soak['errors'])} errors, p95 of {polls['count']:,} polls {polls['p95']:.2f} s. Memory from the "
        f"second tenth of the time to the last: {grown}. Load average at its end: {soak['load']:g}."
    )


SERVERS = ("PostgreSQL", "Redis")
MORNING = ("workers", "busy", "p50", "p95", "p99", "peer p95", "p95 to peer", "said off p50", "said off p95")
MORNING_HEAD = (
    "measuring workers", "busy", "p50, s", "p95, s", "p99, s", "p95 of one line for everybody, s", "ratio",
    "page's word off, p50, s", "p95, s",
)  # fmt: skip


def morning_table(found: Mapping[str, Any]) -> str:
    """The waits of a district's morning or of its flood, one row for so many workers."""
    return table(MORNING_HEAD, [[row[name] for name in MORNING] for row in found["rows"]])


def check_cpu_s(rushes: Mapping[str, Mapping[str, Any]]) -> float:
    """Seconds of a core for one file of the rush, from the measuring workers' processes."""
    spent, files = 0.0, 0
    for rush in rushes.values():
        own = [each["cpu_s"] for name, each in rush["processes"].items() if name.startswith("measure")]
        spent, files = spent + sum(own), files + (rush["students"] if own else 0)
    return spent / files


def web_cpu_s(rushes: Mapping[str, Mapping[str, Any]]) -> float:
    """Seconds of a core in the web processes for one student of the rush with the most workers, open pages and all."""
    rush = list(rushes.values())[-1]
    return sum(each["cpu_s"] for name, each in rush["processes"].items() if name.startswith("web")) / rush["students"]


def errors_words(rushes: Mapping[str, Mapping[str, Any]]) -> str:
    """What the errors were, where there were any."""
    found = [f"{name}: {', '.join(rush['errors'])}" for name, rush in rushes.items() if rush["errors"]]
    return f"The errors were: {'; '.join(found)}.\n\n" if found else ""


def server_cpu_s(rushes: Mapping[str, Mapping[str, Any]], server: str) -> float:
    """Seconds of a core that a server took for one student of the rush, of all profiles that have it."""
    own = [rush for rush in rushes.values() if server in rush["processes"]]
    spent = sum(rush["processes"][server]["cpu_s"] for rush in own)
    return float(spent / sum(rush["students"] for rush in own))


def sizing_table(check_s: float, web_s: float) -> str:
    """Cores for checks, if a day's files came evenly and if half of them came in one hour, and for pages in that
    hour."""
    rows = []
    for schools in (1, 10, 100):
        files = schools * CLASSES * STUDENTS * PARTS_A_STUDENT / 10  # a class has a lesson of this kind every tenth day
        even, peak = files * check_s / (SCHOOL_DAYS_H * 3600), files / 2 * check_s / 3600
        rows.append([schools, f"{files:,.0f}", f"{even:.2f}", f"{peak:.2f}", f"{files / 2 * web_s / 3600:.2f}"])
    spread = "checks, spread over the day: cores"
    return table(["schools", "files a day", spread, "half of it in one hour: cores", "pages in that hour: cores"], rows)


def _growth(growth: Mapping[str, Any]) -> str:
    checks = [[f"{row['triangles']:,}", f"{row['megabytes']:.1f}", f"{row['s']:.2f}"] for row in growth["checks"]]
    plans = [
        [row["printers"], row["plates"], f"{row['first_s']:.3f}", f"{row['forecast_s']:.2f}"] for row in growth["plans"]
    ]
    return f"""## How the work grows

A check is everything a student waits for: reading, measuring, findings, estimate, pictures.

![Seconds of a core for one check](capacity-checks.svg)

{table(["triangles", "MB", "s of a core"], checks)}

A room plan: the first plan, and the forecast of it from 2,000 courses.

{table(["printers", "plates", "first plan, s of a core", "forecast, s of a core"], plans)}

"""


def _sizing(rushes: Mapping[str, Mapping[str, Any]]) -> str:
    check_s, web_s = check_cpu_s(rushes), web_cpu_s(rushes)
    postgres_s, redis_s = (server_cpu_s(rushes, server) for server in SERVERS)
    return f"""## What to buy

A file of the bell took {check_s:.2f} s of a core in the measuring workers. For a school of {CLASSES} classes of
{STUDENTS} in which a class has such a lesson every tenth day and each student uploads {PARTS_A_STUDENT} files (our own
guess, no source), and with {web_s:.2f} s of a core in the web processes for each student of the bell (two of them, with
everything that was open meanwhile):

{sizing_table(check_s, web_s)}

What bends first. One school on one laptop: the measuring of files, which a class that uploads at once feels as a place
in line; then the one core its web process can use, in the minute of the bell. Ten schools: measuring again, where bells
fall together, so one to three measuring workers beside two web processes. A hundred: measuring before pages; both grow
by adding processes. Plans grow with the plates of one room, not with the number of schools. PostgreSQL took
{postgres_s:.2f} s of a core for each student of the bell, Redis {redis_s:.3f}. No machine with more than two cores was
measured, so the figures for 10 and 100 schools are sums, not measurements.
"""


def page(
    rushes: Mapping[str, Mapping[str, Any]],
    growth: Mapping[str, Any],
    soak: Mapping[str, Any],
    morning: Mapping[str, Any],
    machine: str,
    size: Mapping[str, Any] | None = None,
) -> str:
    """The page. ``rushes`` by the name of the profile; ``size`` where it was measured."""
    any_rush = next(iter(rushes.values()))
    return f"""# How much a machine can do

Measured on {machine}, loopback, servers and the bench's own browsers on the same cores.
`MAKERLAB_BENCH_KEEP=folder pytest -m bench tests/bench/load -s`, then `python -m tests.bench.load.page folder`, make
this page.

## The morning bell

{any_rush["students"]} students sign in and upload files of 0.1 to 10 MB (half below 1 MB) within a minute; each follows
the report until the verdict and hands in; {any_rush["pages"]} pages ask for news as often as they say they do; a
teacher reviews and approves, a bench and a "today" stand open. Embedded: one web process and one worker on SQLite. The
others: two web processes, so many measuring workers with one file each at a time, one for plans and one for outlooks,
on PostgreSQL and Redis.

{rush_table(rushes)}

{errors_words(rushes)}Of these CPU seconds none are the bench's own; it took its share of the two cores beside them.

{cost_table(rushes)}

{queries_table(any_rush["queries"])}

## Half an hour without rest

The embedded profile: {soak_words(soak)}

## A district's morning

Simulated: {morning["morning"]["schools"]} schools of which each has, in each of five lessons, one class with such a
lesson on the average: {morning["morning"]["files"]:,} files, half of them within a minute of the bell. Jobs go
through the product's own lines; only the checks are not done, a worker is busy as long as the check of such a
file took when it was measured (below). Seconds from the upload to its verdict, each worker with a core of its own:

{morning_table(morning["morning"])}

One school sends {morning["flood"]["files"]} files within a minute; the waits of the other schools' files that come
while these stand in the line:

{morning_table(morning["flood"])}

{_growth(growth)}{section(size) if size else ""}{_sizing(rushes)}"""


def one_password() -> bytes:
    """A yardstick everybody has."""
    return hashlib.pbkdf2_hmac("sha256", b"makerlab", b"yardstick", ROUNDS)


def main(folder: str) -> None:
    names = {0: "embedded", 1: "1 measuring", 2: "2 measuring", 3: "3 measuring"}
    kept = {name: Path(folder, f"rush-{count}.json") for count, name in names.items()}
    rushes = {name: json.loads(path.read_text("utf-8")) for name, path in kept.items() if path.exists()}
    growth = json.loads(Path(folder, "growth.json").read_text("utf-8"))
    soak = json.loads(Path(folder, "soak.json").read_text("utf-8"))
    morning = json.loads(Path(folder, "morning.json").read_text("utf-8"))
    rounds_s = median(processor_s(one_password)[0] for _run in range(5))
    machine = (
        f"a virtual machine with two cores, on which {ROUNDS:,} rounds of PBKDF2 with SHA-256 take {rounds_s:.2f} s of "
        "a core (measure yours to compare)"
    )
    of_size = Path(folder, "size.json")
    size = json.loads(of_size.read_text("utf-8")) if of_size.exists() else None
    made = page(rushes, growth, soak, morning, machine, size)
    PAGE.write_text(made, "utf-8")
    PLOT.write_text(drawing(read(made)), "utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
