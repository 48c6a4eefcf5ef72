"""Teams proposed by rule."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessons.rosters.teaming import Rule, propose, sizes


@pytest.mark.parametrize(
    ("students", "size", "expected"),
    [(28, 3, [3] * 8 + [2] * 2), (24, 4, [4] * 6), (25, 4, [4] * 4 + [3] * 3), (4, 3, [2, 2]), (1, 3, [1]), (0, 3, [])],
)
def test_sizes_worked_out_by_hand(students, size, expected):
    assert sizes(students, size) == expected


def test_a_team_of_nobody():
    with pytest.raises(ValueError, match="one student"):
        sizes(5, 0)


@given(st.integers(0, 40), st.integers(1, 8), st.sampled_from(list(Rule)), st.integers(0, 99))
def test_everybody_once_and_sizes_even(count, size, rule, seed):
    students = list(range(100, 100 + count))
    proposal = propose(students, size, rule, seed, {key: key % 4 for key in students})
    assert sorted(key for team in proposal.teams for key in team) == students
    widths = [len(team) for team in proposal.teams]
    assert not widths or (max(widths) <= size and max(widths) - min(widths) <= 1)
    assert propose(students, size, rule, seed, {key: key % 4 for key in students}) == proposal, "the seed decides"


def test_drawing_is_by_lot():
    """Over 400 seeds each of 8 students meets each other about as often: 3 of 7 places, within 5 standard errors."""
    met = dict.fromkeys(combinations(range(8), 2), 0)
    for seed in range(400):
        for team in propose(range(8), 4, Rule.DRAWN, seed).teams:
            for pair in combinations(sorted(team), 2):
                met[pair] += 1
    share = 3 / 7
    error = (share * (1 - share) / 400) ** 0.5
    assert all(abs(count / 400 - share) < 5 * error for count in met.values())


def test_dealing_goes_round():
    assert propose([1, 2, 3, 4, 5], 3, Rule.DEALT, 0).teams == ((1, 3, 5), (2, 4))


def test_mixing_parts_who_was_together():
    """Nine students in three teams of three can all be parted (a 3 x 3 square read by columns)."""
    now = {key: key // 3 for key in range(9)}
    for seed in range(30):
        assert propose(range(9), 3, Rule.MIXED, seed, now).repeated == 0


def test_mixing_says_how_many_stay_together():
    """Six in two teams of three: by the pigeonhole at least two pairs meet again."""
    proposal = propose(range(6), 3, Rule.MIXED, 1, {key: key // 3 for key in range(6)})
    assert proposal.repeated == 2
