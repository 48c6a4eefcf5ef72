"""Works out the invented school's past runs: ``python -m makerlab.demo.past_runs`` writes demo_fixtures/runs.json.

Estimates are this app's own, of real plates of the demo's kit on each printer. What the invented printers made of them
follows from the truths below and a seed; nothing here was measured on a real printer. The file is kept so that the demo
starts without working them out.
"""

from __future__ import annotations

import json
import math
import sys
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import numpy as np

from makerlab.demo import fixtures
from meshcheck.plating import read_solid
from meshcheck.service import estimate_plate
from meshcheck.types import PrintSettings

PATH = fixtures.FOLDER / "runs.json"
SEED = 2026
DAYS_BACK = 32  # school days; a run a day on each printer, some days none
GAP_MM = 5.0
GRAMS_FACTOR, GRAMS_SPREAD = 1.04, 0.02
SHORT_S = 1800.0


@dataclass(frozen=True)
class Truth:
    """What an invented printer is like: seconds = factor x estimate + fixed_s, scatter as a share, and since how many
    days before today it has become slower, by what share. ``fails`` is the share of its runs that fail."""

    factor: float
    fixed_s: float
    scatter: float
    fails: float
    slower_since: int = 0
    slower_by: float = 0.0


TRUTHS = {
    "Wren": Truth(1.07, 240.0, 0.035, 0.06),
    "Heron": Truth(1.03, 300.0, 0.04, 0.10),
    "Kestrel": Truth(1.22, 150.0, 0.04, 0.08, slower_since=8, slower_by=0.2),
    "Dipper": Truth(0.96, 540.0, 0.05, 0.14),
    "Swift": Truth(1.18, 180.0, 0.04, 0.05),
}
# kit part and how many of it are printed together; drawn by lot for each run
PLATES = (
    ("wheel", 2), ("wheel", 4), ("wheel", 6), ("chassis", 1), ("chassis", 2), ("axle-holder", 4), ("axle-holder", 8),
    ("axle-holder", 12),
)  # fmt: skip
REASONS = ("came_off", "came_off", "warped", "jam", "spaghetti", "layer_shift", "support", "ran_out")


def kit_part(code: str) -> dict[str, Any]:
    return next(part for plan in fixtures.lesson_plans() for part in plan["kit"] if part["code"] == code)


def places(code: str, count: int) -> list[dict[str, Any]]:
    """The copies in rows, as close as the room's gap allows."""
    part = kit_part(code)
    width, depth = part_size(code)
    columns = max(1, math.isqrt(count))
    return [
        {
            "path": str(fixtures.FOLDER / part["file"]),
            "name": part["file"],
            "x_mm": (0.5 + k % columns) * (width + GAP_MM),
            "y_mm": (0.5 + k // columns) * (depth + GAP_MM),
        }
        for k in range(count)
    ]


@cache
def part_size(code: str) -> tuple[float, float]:
    """Width and depth of a kit part in mm."""
    path = fixtures.FOLDER / kit_part(code)["file"]
    mesh, _closed = read_solid(str(path), path.name, None)
    size = mesh.vertices.max(axis=0) - mesh.vertices.min(axis=0)
    return float(size[0]), float(size[1])


def fits(code: str, count: int, kind_name: str) -> bool:
    """Whether the rows stay on the bed of that kind of printer."""
    kind = next(kind for kind in fixtures.school()["room"]["printer_kinds"] if kind["name"] == kind_name)
    width, depth = part_size(code)
    columns = max(1, math.isqrt(count))
    box = (columns * (width + GAP_MM) - GAP_MM, -(-count // columns) * (depth + GAP_MM) - GAP_MM)
    if kind["bed"] == "round":
        return math.hypot(*box) <= fixtures.side(kind, "width_mm")
    return box[0] <= fixtures.side(kind, "width_mm") and box[1] <= fixtures.side(kind, "depth_mm")


@cache
def estimates(code: str, count: int) -> dict[str, Any]:
    """Grams, and seconds by kind of printer, of that many copies on one plate."""
    kinds = fixtures.school()["room"]["printer_kinds"]
    part = kit_part(code)
    settings = PrintSettings(**{**part["settings"], "material": part["material"]})
    found = estimate_plate(places(code, count), asdict(settings), {kind["name"]: kind["machine"] for kind in kinds})
    return {"grams": found["mass_g"], "seconds": found["durations_s"]}


def past_runs() -> list[dict[str, Any]]:
    """All runs, oldest first. ``ended_s``: seconds after the start at which somebody saw the printer stop, None when
    nobody did; ``cleared_s``: when the bed was cleared."""
    printers = {printer["name"]: printer["kind"] for printer in fixtures.school()["room"]["printers"]}
    rng = np.random.default_rng(SEED)
    runs = [
        _run(rng, days, name, kind)
        for days in range(DAYS_BACK, 0, -1)
        for name, kind in printers.items()
        if rng.random() < 0.85
    ]
    heron = [run for run in runs if run["printer"] == "Heron" and run["ended_s"] and run["outcome"] == "finished"]
    heron[len(heron) // 2]["ended_s"] = heron[len(heron) // 2]["cleared_s"] = 19 * 3600  # noted the next morning
    return runs


def _run(rng: np.random.Generator, days: int, printer: str, kind: str) -> dict[str, Any]:
    fitting = [plate for plate in PLATES if fits(*plate, kind)]
    code, count = fitting[int(rng.integers(len(fitting)))]
    found, truth = estimates(code, count), TRUTHS[printer]
    estimate_s, estimate_g = found["seconds"][kind], found["grams"]
    factor = truth.factor * (1 + truth.slower_by if days <= truth.slower_since else 1)
    took = factor * estimate_s + truth.fixed_s + truth.scatter * math.hypot(estimate_s, SHORT_S) * rng.normal()
    failed, partly, seen, on_scale = rng.random(4)
    minute = int(rng.integers(0, 90))
    run: dict[str, Any] = {
        "printer": printer,
        "weekdays_ahead": -days,
        "time": f"{8 + minute // 60:02d}:{minute % 60:02d}",
        "part": code,
        "copies": count,
        "estimate_s": round(estimate_s),
        "estimate_g": round(estimate_g, 1),
        "outcome": "finished",
        "lost": {},
    }
    if failed < truth.fails:
        took *= rng.uniform(0.05, 0.9)
        run |= {"outcome": "failed", "lost": dict.fromkeys(map(str, range(count)), _reason(rng))}
    elif partly < 0.07 and count > 1:
        run |= {"outcome": "partly_good", "lost": {str(int(rng.integers(count))): _reason(rng)}}
    grams = estimate_g * GRAMS_FACTOR * (1 + GRAMS_SPREAD * rng.normal())
    run["ended_s"] = round(took) if seen < 0.75 else None
    run["cleared_s"] = round(took + rng.uniform(10, 70) * 60)
    run["weighed_g"] = round(grams, 1) if on_scale < 0.5 and run["outcome"] == "finished" else None
    run["used_g"] = round(grams * (min(1.0, took / estimate_s) if run["outcome"] == "failed" else 1.0), 1)
    return run


def _reason(rng: np.random.Generator) -> str:
    return REASONS[int(rng.integers(len(REASONS)))]


def text() -> str:
    """The whole file: a run a line."""
    about = [
        "Past runs of an invented room. Estimates are this app's; the rest was drawn by makerlab/demo/past_runs.py.",
        "No real printer was measured.",
    ]
    rows = ",\n".join(f"    {json.dumps(run)}" for run in past_runs())
    return f'{{\n  "about": {json.dumps(about)},\n  "runs": [\n{rows}\n  ]\n}}\n'


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")
    sys.stdout.write(f"wrote {PATH}\n")
