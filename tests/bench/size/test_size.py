"""A district of a hundred schools on PostgreSQL: what each page asks of one school among them, what the newest
migrations lock, and the end of a school year.

Schools of 40 classes, 30 students a class, 20 files a student: 20 million rows, 20 GB of disk and a quarter of an hour
until they are there. ``MAKERLAB_SIZE=2,1,3`` (classes, those in the middle of a lesson, copies of the school) makes a
small one, of three copies at least; ``MAKERLAB_SIZE_URL`` names the database of one that was made before. Prints, and
with MAKERLAB_BENCH_KEEP (a folder) writes size.json for docs/capacity.md; never gates on a clock.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.bench.plan.report import held
from tests.bench.size.figures import answer, background, questions_of, told
from tests.conftest import ROOT, own_postgres

pytestmark = [pytest.mark.bench, pytest.mark.postgres, pytest.mark.slow]
CLASSES, IN_THE_MIDDLE, COPIES = (int(each) for each in os.environ.get("MAKERLAB_SIZE", "40,8,99").split(","))
PAGE_SQL_MS, WAIT_S, LOCKED_S = 250, 1.0, 1.0  # bars: our own choice


@pytest.fixture
def district() -> Iterator[tuple[str, float | None]]:
    """The URL of its database, and the seconds its rows took."""
    if url := os.environ.get("MAKERLAB_SIZE_URL"):
        yield url, None
        return
    with own_postgres() as url:
        begun = time.perf_counter()
        step(url, "school", CLASSES, IN_THE_MIDDLE)
        step(url, "copies", COPIES)
        yield url, time.perf_counter() - begun


def step(url: str, *words: object) -> Any:
    """One step of tests.bench.size.grow in a process of its own; what it printed."""
    environment = {**os.environ, "DATABASE_URL": url, "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "queue")))}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "tests.bench.size.grow", *map(str, words)],
        cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout) if done.stdout.strip() else None


def test_at_the_size_of_a_district(district: tuple[str, float | None], tmp_path: Path) -> None:
    url, built_s = district
    os.environ.setdefault("MAKERLAB_VAR", str(tmp_path))
    middle = COPIES // 2 + 1
    asked = step(url, "ask", middle)
    by_index = step(url, "ask", middle, "by-index")
    found = {
        "schools": COPIES + 1, "classes": CLASSES, "built_s": built_s, "rows": step(url, "rows"),
        "pages": [answer(each) for each in asked if each["who"] != "background"],
        "background": background(asked),
        "whole tables": sorted({table for each in by_index for table in questions_of(each, "seq")}),
        "migrations": step(url, "upgrade"),
        "year": step(url, "year", middle + 1, 1),
    }  # fmt: skip
    print(told(found))
    if kept := os.environ.get("MAKERLAB_BENCH_KEEP"):
        Path(kept, "size.json").write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    hold(found)
    assert found["whole tables"] == [], "read from end to end even where an index is to be used if there is one"
    assert not missing_pages(found["pages"])


def missing_pages(pages: Sequence[Mapping[str, Any]]) -> set[str]:
    """Roles of which no page was asked."""
    return {"student", "teacher", "technician", "administrator", "district"} - {page["who"] for page in pages}


def hold(found: Mapping[str, Any]) -> None:
    for page in found["pages"]:
        held(page["sql_ms"] <= PAGE_SQL_MS, f"{page['name']}, {page['who']}: {page['sql_ms']:.0f} ms in the database")
    for taken in found["migrations"]:
        for table, seconds in taken["locked_s"].items():
            held(seconds <= LOCKED_S, f"{taken['name']}: {table} locked for {seconds:.1f} s")
    for each in found["year"]:
        held(each["other_waits_s"] <= WAIT_S, f"{each['name']}: another school waits {each['other_waits_s']:.1f} s")
