"""When a row of surprises is no chance any more: the two-sided cumulative sum.

E. S. Page, Continuous inspection schemes, Biometrika 41, 100-115, 1954: deviations beyond an allowance (SLACK) are
summed on either side and never fall below zero; a sum beyond LIMIT raises an alarm. Allowance 0.5 and limit 5, in
standard deviations, are the usual ones of quality control (from memory); of independent normal deviations one false
alarm comes in about 469 (D. Siegmund, Sequential analysis, 1985, eq. 2.57, from memory: with b = h + 1.166 one side
takes (exp(2 k b) - 2 k b - 1) / (2 k^2) steps; two sides half of it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SLACK, LIMIT = 0.5, 5.0
CLIP = 2.5  # a step never counts for more than this: one wild run alone is no drift


@dataclass(frozen=True, slots=True)
class Alarm:
    """The sum that crossed the limit at step ``at`` had begun to grow at step ``since``; ``up``: upwards."""

    since: int
    at: int
    up: bool


def alarms(steps: Sequence[float], clip: float = CLIP) -> list[Alarm]:
    """All alarms of a row of deviations in standard deviations; both sums begin anew after each."""
    found = []
    up = down = 0.0
    up_since = down_since = 0
    for at, deviation in enumerate(steps):
        step = min(max(deviation, -clip), clip)
        up_since, down_since = (at if up == 0 else up_since), (at if down == 0 else down_since)
        up, down = max(0.0, up + step - SLACK), max(0.0, down - step - SLACK)
        if max(up, down) > LIMIT:
            found.append(Alarm(up_since if up > down else down_since, at, up > down))
            up = down = 0.0
    return found
