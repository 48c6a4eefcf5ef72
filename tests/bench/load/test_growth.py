"""How the work grows: a check with the triangles of its file, a plan and its forecast with the room's plates.

Seconds of a core, compiled code already loaded, the middle of three runs. Prints, and with MAKERLAB_BENCH_KEEP (a
folder) writes growth.json for docs/capacity.md; never gates on a clock.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from random import Random
from statistics import median

import pytest

import meshcheck.warmup
from meshcheck.service import measure
from planning import warmup
from planning.forecast import play
from planning.schedule import solve
from planning.types import Problem, Risk, Stop
from tests.bench.load.files import file_of
from tests.bench.plan.report import processor_s
from tests.bench.plan.rooms import LARGE, MIDDLE, SMALL, school_room

pytestmark = [pytest.mark.bench, pytest.mark.slow]
FILE_BYTES = (100_000, 300_000, 1_000_000, 3_000_000, 10_000_000)
GAUGE = {"hole_diameter_mm": 3.2, "through": True}
RUNS, SAMPLES = 3, 2000
RISK = Risk(fail_per_start=0.03, fail_per_hour=0.01)


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    for _name, call in (*meshcheck.warmup.kernels(), *warmup.kernels()):
        call()


def check_s(path: Path) -> float:
    def one() -> object:
        return measure(str(path), "wheel.stl", GAUGE, {}, {}, {}, None)

    one()
    return median(processor_s(one)[0] for _run in range(RUNS))


def plan_s(problem: Problem) -> tuple[float, float]:
    """The first plan, and the forecast of it."""
    first = [processor_s(lambda: solve(problem, Stop(iterations=0), seed=1)) for _run in range(RUNS)]
    plan = first[0][1]
    forecast = [processor_s(lambda: play(problem, plan, RISK, SAMPLES, 1))[0] for _run in range(RUNS)]
    return median(spent for spent, _plan in first), median(forecast)


def test_work_grows(tmp_path: Path) -> None:
    checks, plans = [], []
    for size in FILE_BYTES:
        path = tmp_path / f"{size}.stl"
        path.write_bytes(file_of(size, Random(size)))
        triangles = (path.stat().st_size - 84) // 50
        checks.append({"triangles": triangles, "megabytes": round(path.stat().st_size / 1e6, 2), "s": check_s(path)})
    for size in (SMALL[0], MIDDLE[0], LARGE[0]):
        first, forecast = plan_s(school_room(size, 7001))
        plans.append({"printers": size.printers, "plates": size.plates, "first_s": first, "forecast_s": forecast})
    for row in (*checks, *plans):
        print("\n" + "  ".join(f"{name} {value:.3g}" for name, value in row.items()))
    if kept := os.environ.get("MAKERLAB_BENCH_KEEP"):
        Path(kept, "growth.json").write_text(json.dumps({"checks": checks, "plans": plans}, indent=1) + "\n")
    assert [row["triangles"] for row in checks] == sorted(row["triangles"] for row in checks)
