"""Schools take turns, and a waiting job knows its place and its time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.utils import timezone

from makerlab.accounts.models import School
from makerlab.work import actions
from makerlab.work.lanes import Lane
from makerlab.work.line import expected_wait, place_in_line
from makerlab.work.models import Job
from makerlab.work.registry import HANDLERS, Handler, register


@pytest.fixture
def done() -> Iterator[list[str]]:
    """Subjects in the order in which they were worked on."""
    worked: list[str] = []

    def work(job: Job):
        worked.append(job.subject)
        return lambda: None

    register(Handler("turn", Lane.MEASURE, 60, work, lambda job, message: None, "It did not work."))
    yield worked
    del HANDLERS["turn"]


@pytest.fixture
def schools(db) -> list[School]:
    return [School.objects.create(name=name) for name in ("Alderwick School", "Brackenford School", "Carrow School")]


def send(school: School, *subjects: str, priority: int = 0) -> None:
    for subject in subjects:
        actions.enqueue("turn", subject, school.pk, priority=priority)


def test_one_file_is_not_kept_waiting_by_another_schools_five_hundred(done, schools):
    send(schools[0], *(f"a{n}" for n in range(500)))
    for _ in range(100):
        actions.run(actions.claim())
    send(schools[1], "b")
    for _ in range(2):
        actions.run(actions.claim())
    assert done.index("b") <= 101


def test_three_schools_are_served_in_turn_and_each_in_its_own_order(done, schools):
    send(schools[0], "a1", "a2", "a3", "a4")
    send(schools[1], "b1", "b2")
    send(schools[2], "c1")
    actions.run_waiting()
    assert done == ["a1", "b1", "c1", "a2", "b2", "a3", "a4"]


def test_a_school_that_was_idle_saves_up_no_turns(done, schools):
    """Start-time fair queuing: the time a school did not use is not given to it later."""
    send(schools[0], *(f"a{n}" for n in range(6)))
    for _ in range(4):
        actions.run(actions.claim())
    send(schools[1], "b1", "b2", "b3")
    actions.run_waiting()
    assert done[4:] == ["a4", "b1", "a5", "b2", "b3"]


def test_urgent_work_of_any_school_comes_before_turns(done, schools):
    send(schools[0], "a1", "a2", priority=5)
    send(schools[0], "now", priority=-1)
    send(schools[1], "b1", priority=5)
    actions.run_waiting()
    assert done == ["now", "a1", "b1", "a2"]


def test_the_place_in_line_is_the_order_in_which_jobs_are_taken(done, schools):
    send(schools[0], "a1", "a2", "a3")
    send(schools[1], "b1", "b2")
    send(schools[2], "c1", priority=-1)
    jobs = list(Job.objects.all())
    told = {job.subject: place_in_line(job) for job in jobs}
    actions.run_waiting()
    assert [told[subject] for subject in done] == list(range(6))


def test_expected_wait_is_the_pace_of_the_last_jobs_shared_by_the_busy_workers(done, schools):
    send(schools[0], *(f"a{n}" for n in range(9)))
    last = Job.objects.get(subject="a8")
    assert expected_wait(last, place_in_line(last)) is None  # nothing to go by yet
    now = timezone.now()
    for subject, seconds in (("a0", 20), ("a1", 40)):
        Job.objects.filter(subject=subject).update(
            state=Job.State.DONE, started_at=now, finished_at=now + timedelta(seconds=seconds)
        )
    assert place_in_line(last) == 6
    assert expected_wait(last, 6) == timedelta(seconds=180)  # six at 30 s each, one after the other
    actions.claim(), actions.claim()
    assert place_in_line(last) == 6  # four waiting, two being done
    assert expected_wait(last, 6) == timedelta(seconds=90)  # two workers are busy
