"""Figures of a rush: how long each step took, and the bars they are held against."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from tests.bench.load.machine import MB, Taken
from tests.bench.load.rush import Outcome

POLLS = "all polls"


def quantile(values: Sequence[float], share: float) -> float:
    """The value that so many of all do not exceed (nearest rank: the smallest one with at least that share at or below
    it). Raises ValueError for none."""
    if not values:
        raise ValueError("no values")
    return sorted(values)[max(0, math.ceil(share * len(values)) - 1)]


def figures(outcome: Outcome, taken: Mapping[str, Taken]) -> dict[str, Any]:
    """As written to the file of the bench; seconds and megabytes."""
    steps = {name: found for name, found in sorted(outcome.notes.seconds.items()) if found}
    steps[POLLS] = [each for name, found in steps.items() if name.startswith("poll of") for each in found]
    return {
        "seconds": round(outcome.seconds, 1),
        "errors": outcome.notes.errors,
        "without verdict": outcome.unanswered,
        "approved": outcome.approved,
        "steps": {name: spread(found) for name, found in steps.items() if found},
        "file chosen to verdict": spread(outcome.verdict_s) if outcome.verdict_s else {},
        "requests a second": round(sum(len(found) for found in outcome.notes.seconds.values()) / outcome.seconds, 1),
        "processes": {
            name: {
                "cpu_s": round(each.cpu_s, 1),
                "first_mb": round(each.first_bytes / MB),
                "most_mb": round(each.most_bytes / MB),
                "last_mb": round(each.last_bytes / MB),
            }
            for name, each in taken.items()
        },
    }


def spread(values: Sequence[float]) -> dict[str, float]:
    named = {"p50": 0.5, "p95": 0.95, "p99": 0.99, "most": 1.0}
    return {"count": len(values), **{name: round(quantile(values, share), 3) for name, share in named.items()}}


def told(name: str, found: Mapping[str, Any]) -> str:
    """A table for people."""
    lines = [
        f"\n{name}: {found['seconds']} s, {found['requests a second']} requests a second, "
        f"approved {found['approved']}, errors {len(found['errors'])}, without a verdict {found['without verdict']}"
    ]
    rows = {**found["steps"], "file chosen to verdict": found["file chosen to verdict"]}
    lines += [
        f"  {step:26} {row['count']:6} times  p50 {row['p50']:8.3f} s  p95 {row['p95']:8.3f} s  p99 {row['p99']:8.3f} s"
        for step, row in rows.items()
        if row
    ]
    lines += [
        f"  {process:26} {row['cpu_s']:8.1f} s of CPU, {row['first_mb']} MB at first, {row['most_mb']} at most, "
        f"{row['last_mb']} at last"
        for process, row in found["processes"].items()
    ]
    queries = ", ".join(f"{name} {count}" for name, count in found.get("queries", {}).items())
    return "\n".join([*lines, f"  queries: {queries}"] if queries else lines)
