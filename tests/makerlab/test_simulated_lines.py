"""The simulation of a district's morning (tests/bench/load/morning.py) against what queueing theory says."""

from __future__ import annotations

from random import Random
from statistics import fmean

import pytest

from makerlab.accounts.models import School
from makerlab.work.models import Job
from tests.bench.load.morning import (
    Upload,
    by_school,
    flood,
    in_order_of_arrival,
    lessons,
    seconds_of_check,
    simulate,
    simulated_kind,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def school_ids() -> list[int]:
    return [School.objects.create(name=f"School {number}").pk for number in range(3)]


def arrivals(count: int, mean_s: float, work_s: float, seed: int = 5) -> list[Upload]:
    """A Poisson stream of one school."""
    dice, at_s, found = Random(seed), 0.0, []
    for _ in range(count):
        at_s += dice.expovariate(1 / mean_s)
        found.append(Upload(at_s, 0, work_s))
    return found


def test_one_line_is_pollaczek_and_khinchine() -> None:
    """M/D/1: the mean wait before service is load * service / (2 * (1 - load)) (Pollaczek-Khinchine; from memory)."""
    load, work_s = 0.7, 2.0
    waits = in_order_of_arrival(arrivals(200_000, work_s / load, work_s), 1).waits()
    assert fmean(waits) - work_s == pytest.approx(load * work_s / (2 * (1 - load)), rel=0.03)


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_the_lines_of_one_school_are_first_come_first_served(school_ids: list[int], workers: int) -> None:
    """One school alone takes no turns: what the real lines hand out is the textbook's recursion, to the second."""
    dice = Random(8)
    uploads = [Upload(each.at_s, 0, dice.uniform(0.2, 9.0)) for each in arrivals(80, 4.0 / workers, 0.0)]
    with simulated_kind():
        turns = simulate(uploads, school_ids, workers)
    peer = {each.upload: each.waited_s for each in in_order_of_arrival(uploads, workers).told}
    assert {each.upload: each.waited_s for each in turns.told} == pytest.approx(peer, abs=1e-6)
    assert Job.objects.filter(state=Job.State.DONE).count() == len(uploads)


def test_turns_lose_no_time_and_keep_the_flood_away(school_ids: list[int]) -> None:
    """Work-conserving: with checks of one length the last verdict comes when it would in one line, and all waits sum to
    the same (the conservation law of L. Kleinrock, "Queueing Systems" II, 1976; from memory)."""
    few = [Upload(10.0 + 7 * number, 1, 3.0) for number in range(5)]
    uploads = sorted([*flood(0, 60, 0.0, 3.0), *few], key=lambda upload: upload.at_s)
    with simulated_kind():
        turns = simulate(uploads, school_ids, 1)
    peer = in_order_of_arrival(uploads, 1)
    assert turns.ends_s == pytest.approx(peer.ends_s)
    assert sum(turns.waits()) == pytest.approx(sum(peer.waits()))
    assert max(by_school(turns)[1]) <= 3 * 3.0, "one being done, one of the other school's turn, and its own"
    assert max(by_school(peer)[1]) > 60.0


def test_what_a_page_says_comes_true_where_nobody_else_comes(school_ids: list[int]) -> None:
    """All checks of one length, one worker, nobody after: the expected time is the real one, once one is finished."""
    uploads = [Upload(0.0, 0, 4.0), *(Upload(5.0, 0, 4.0) for _ in range(6))]
    with simulated_kind():
        turns = simulate(uploads, school_ids, 1)
    assert turns.told[0].expected_s is None
    assert [each.expected_s for each in turns.told[1:]] == pytest.approx([each.waited_s for each in turns.told[1:]])


def test_a_size_between_two_that_were_measured() -> None:
    seconds = seconds_of_check([{"megabytes": 1.0, "s": 1.0}, {"megabytes": 4.0, "s": 2.0}])
    assert seconds(1e6) == pytest.approx(1.0)
    assert seconds(2e6) == pytest.approx(2**0.5)
    assert seconds(16e6) == pytest.approx(4.0)


def test_a_morning_has_lessons_in_every_school() -> None:
    uploads = lessons(20, lambda size: 1.0, 11)
    assert {upload.school for upload in uploads} == set(range(20))
    assert uploads == sorted(uploads, key=lambda upload: upload.at_s)
    assert len(uploads) == pytest.approx(20 * 5 * 30, rel=0.2)
