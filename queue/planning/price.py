"""What a moved start costs: one price, wherever one plan is weighed against another.

Staff prepare spools and files by the starts they were shown. Such a start is moved only where that saves more than
CHANGE_WORTH_MIN minutes of lateness of a team of mean weight, for each start moved; where nobody is late, as many
minutes of a team's waiting. ``RoomRules.change_penalty`` is this price in the weights of a problem.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from planning.types import Kit, Problem

# Our own choice, by sixty failures of tests/bench/plan from three seeds: at this price re-planning kept 0.23 to 0.36 of
# the lateness of moving everything to the right, hardly more than at no price, with 0.34 to 0.41 of the changes of
# planning anew; at half of it with up to 0.53.
CHANGE_WORTH_MIN = 120


def change_penalty(kits: Iterable[Kit]) -> int:
    """The price of one change in weighted minutes: CHANGE_WORTH_MIN of a kit of mean weight, of those that have a
    deadline and weigh anything."""
    weights = [kit.weight for kit in kits if kit.deadline_minute is not None and kit.weight]
    return round(CHANGE_WORTH_MIN * sum(weights) / len(weights)) if weights else CHANGE_WORTH_MIN


def priced(problem: Problem) -> Problem:
    """The same room in which a change costs what it is worth."""
    return replace(problem, rules=replace(problem.rules, change_penalty=change_penalty(problem.kits)))
