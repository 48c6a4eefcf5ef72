"""Twenty schools in one morning, with 1, 2 and 4 measuring workers, and with one school that floods the line.

Prints the waits and their ratio to one line for everybody; with MAKERLAB_BENCH_KEEP (a folder) writes morning.json for
docs/capacity.md. Times of checks come from growth.json of that folder, or are measured here.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from statistics import fmean
from typing import Any

import pytest

from makerlab.accounts.models import School
from makerlab.work.models import Job
from tests.bench.load.files import file_of
from tests.bench.load.morning import (
    Morning,
    Upload,
    flood,
    in_order_of_arrival,
    lessons,
    seconds_of_check,
    simulate,
    simulated_kind,
)
from tests.bench.load.report import quantile, spread

pytestmark = [pytest.mark.bench, pytest.mark.slow, pytest.mark.django_db]
SCHOOLS, WORKERS, SEED = 20, (1, 2, 4), 11
FLOOD_SCHOOL, FLOOD_FILES, FLOOD_S, FLOOD_BYTES = 0, 500, 95 * 60.0, 1e6


@pytest.fixture(scope="module")
def check_s(tmp_path_factory: pytest.TempPathFactory) -> Callable[[float], float]:
    from tests.bench.load import test_growth

    kept = Path(os.environ.get("MAKERLAB_BENCH_KEEP", "nowhere"), "growth.json")
    if kept.exists():
        return seconds_of_check(json.loads(kept.read_text("utf-8"))["checks"])
    rows = []
    for size in (100_000, 1_000_000, 10_000_000):
        path = tmp_path_factory.mktemp("sizes") / f"{size}.stl"
        path.write_bytes(file_of(size, Random(size)))
        rows.append({"megabytes": path.stat().st_size / 1e6, "s": test_growth.check_s(path)})
    return seconds_of_check(rows)


@pytest.fixture
def school_ids(db: None) -> list[int]:
    return [School.objects.create(name=f"School {number}").pk for number in range(SCHOOLS)]


def test_a_district_morning(check_s: Callable[[float], float], school_ids: list[int]) -> None:
    uploads = lessons(SCHOOLS, check_s, SEED)
    rows = []
    with simulated_kind():
        for workers in WORKERS:
            Job.objects.all().delete()
            morning = simulate(uploads, school_ids, workers)
            rows.append(_row(morning, in_order_of_arrival(uploads, workers)))
            assert len(morning.told) == len(uploads)
    _told(f"{SCHOOLS} schools, {len(uploads):,} files", rows)
    _keep("morning", {"schools": SCHOOLS, "files": len(uploads), "rows": rows})


def test_a_school_that_floods_the_line(check_s: Callable[[float], float], school_ids: list[int]) -> None:
    """The other schools' waits while 500 files of one school stand in the line."""
    flooded = flood(FLOOD_SCHOOL, FLOOD_FILES, FLOOD_S, check_s(FLOOD_BYTES))
    ordinary = [upload for upload in lessons(SCHOOLS, check_s, SEED) if upload.school != FLOOD_SCHOOL]
    uploads = sorted([*ordinary, *flooded], key=lambda upload: upload.at_s)
    others = range(1, SCHOOLS)
    rows = []
    with simulated_kind():
        for workers in WORKERS[1:]:
            Job.objects.all().delete()
            turns = simulate(uploads, school_ids, workers)
            peer = in_order_of_arrival(uploads, workers)
            rows.append(_row(turns, peer, others, _meanwhile(turns, peer)))
    _told(f"{FLOOD_FILES} files of one school at once, the other {SCHOOLS - 1} schools' files of that time", rows)
    _keep("flood", {"files": FLOOD_FILES, "rows": rows})
    assert all(row["p95"] <= row["peer p95"] for row in rows)


def _meanwhile(turns: Morning, peer: Morning) -> tuple[float, float]:
    """From the flood to its last verdict in the quicker of the two."""
    ends = []
    for morning in (turns, peer):
        flooded = [each for each in morning.told if each.upload.school == FLOOD_SCHOOL]
        ends.append(max(each.upload.at_s + each.waited_s for each in flooded))
    return FLOOD_S, min(ends)


def _row(
    turns: Morning,
    peer: Morning,
    schools: Sequence[int] | None = None,
    between_s: tuple[float, float] = (0.0, float("inf")),
) -> dict[str, Any]:
    def waits(morning: Morning) -> list[float]:
        return [
            each.waited_s
            for each in morning.told
            if (schools is None or each.upload.school in schools) and _within(each.upload, between_s)
        ]

    own, others = waits(turns), waits(peer)
    said = [each for each in turns.told if each.expected_s is not None and _within(each.upload, between_s)]
    off = [abs(each.waited_s - (each.expected_s or 0.0)) for each in said]
    return {
        "workers": turns.workers,
        "files": len(own),
        "busy": round(turns.busy, 2),
        **{name: value for name, value in spread(own).items() if name != "count"},
        "mean": round(fmean(own), 1),
        "peer p95": round(quantile(others, 0.95), 3),
        "peer mean": round(fmean(others), 1),
        "p95 to peer": round(quantile(own, 0.95) / quantile(others, 0.95), 2),
        "said off p50": round(quantile(off, 0.5), 1),
        "said off p95": round(quantile(off, 0.95), 1),
    }


def _within(upload: Upload, between_s: tuple[float, float]) -> bool:
    return between_s[0] <= upload.at_s < between_s[1]


def _told(what: str, rows: Sequence[dict[str, Any]]) -> None:
    print(f"\n{what}; seconds from the upload to its verdict, peer: one line for everybody")
    for row in rows:
        print("  " + "  ".join(f"{name} {value:g}" for name, value in row.items()))


def _keep(name: str, found: dict[str, Any]) -> None:
    if kept := os.environ.get("MAKERLAB_BENCH_KEEP"):
        path = Path(kept, "morning.json")
        everything = json.loads(path.read_text("utf-8")) if path.exists() else {}
        path.write_text(json.dumps({**everything, name: found}, indent=1) + "\n")
