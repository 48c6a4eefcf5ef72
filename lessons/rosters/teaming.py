"""Proposing teams: as even in size as can be, by a stated rule, the same again from the same seed."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations


class Rule(StrEnum):
    """How students come into teams. Sizes differ by one at most under each."""

    DRAWN = "drawn"  # by lot, from the seed
    DEALT = "dealt"  # in order of nickname, one after the other to each team in turn
    MIXED = "mixed"  # by lot, then so that as few as possible meet again who are in one team now


@dataclass(frozen=True, slots=True)
class Proposal:
    """Teams of student keys. ``repeated``: pairs that are in one team now and would be again."""

    teams: tuple[tuple[int, ...], ...]
    rule: Rule
    seed: int
    repeated: int


def sizes(students: int, team_size: int) -> list[int]:
    """Sizes that differ by one at most, none above ``team_size``; larger ones first. Raises ValueError below 1."""
    if team_size < 1:
        raise ValueError("a team has one student at least")
    teams = math.ceil(students / team_size)
    return [students // teams + (place < students % teams) for place in range(teams)] if teams else []


def propose(
    students: Sequence[int], team_size: int, rule: Rule, seed: int, now: Mapping[int, int] | None = None
) -> Proposal:
    """Put students (keys, in order of nickname) into teams. ``now``: the team each one is in, if any."""
    together = _pairs_now(students, now or {})
    if rule is Rule.DEALT:
        count = len(sizes(len(students), team_size))
        teams = [list(students[place::count]) for place in range(count)]
    else:
        chance = random.Random(seed)
        shuffled = chance.sample(list(students), len(students))
        teams = _cut(shuffled, sizes(len(students), team_size))
        if rule is Rule.MIXED:
            _mix(teams, together)
    return Proposal(tuple(tuple(team) for team in teams), rule, seed, sum(_repeats(team, together) for team in teams))


def _cut(students: Sequence[int], widths: Sequence[int]) -> list[list[int]]:
    teams, start = [], 0
    for width in widths:
        teams.append(list(students[start : start + width]))
        start += width
    return teams


def _pairs_now(students: Sequence[int], now: Mapping[int, int]) -> frozenset[tuple[int, int]]:
    ordered = sorted(students)
    return frozenset((a, b) for a, b in combinations(ordered, 2) if a in now and now[a] == now.get(b))


def _repeats(team: Sequence[int], together: frozenset[tuple[int, int]]) -> int:
    return sum(pair in together for pair in combinations(sorted(team), 2))


def _mix(teams: list[list[int]], together: frozenset[tuple[int, int]]) -> None:
    """Swap two students of two teams while that parts more pairs; ends where no swap helps."""
    better = True
    while better:
        better = False
        for first, second in combinations(teams, 2):
            before = _repeats(first, together) + _repeats(second, together)
            for i in range(len(first)):
                for k in range(len(second)):
                    first[i], second[k] = second[k], first[i]
                    after = _repeats(first, together) + _repeats(second, together)
                    if after < before:
                        before, better = after, True
                    else:
                        first[i], second[k] = second[k], first[i]
