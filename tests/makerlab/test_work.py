"""The life of a job: claimed once, applied once, given back when its worker dies, failed after three tries."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.utils import timezone

from makerlab.accounts.models import School
from makerlab.work import actions, child, loop
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import HANDLERS, GiveUp, Handler, register

State = Job.State


class Ledger:
    """A handler whose work and results can be counted."""

    def __init__(self) -> None:
        self.worked: list[str] = []
        self.applied: list[str] = []
        self.failed: list[str] = []
        self.trouble: Exception | None = None

    def handler(self) -> Handler:
        return Handler("ledger", Lane.MEASURE, 60, self.work, self.fail, "It did not work.")

    def work(self, job: Job):
        self.worked.append(job.subject)
        if self.trouble is not None:
            raise self.trouble
        return lambda: self.applied.append(job.subject)

    def fail(self, job: Job, message: str) -> None:
        self.failed.append(message)


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    made = Ledger()
    register(made.handler())
    yield made
    del HANDLERS["ledger"]


@pytest.fixture
def school(db) -> School:
    return School.objects.create(name="Alderwick School")


def test_a_job_is_done_once_and_applied_once(ledger, school):
    job = actions.enqueue("ledger", 7, school.pk)
    assert actions.run_waiting() == 1
    assert actions.run_waiting() == 0
    job.refresh_from_db()
    assert (job.state, job.attempt, job.progress) == (State.DONE, 1, 1.0)
    assert ledger.applied == ["7"]


def test_a_waiting_twin_is_not_enqueued_again_but_a_running_one_is(ledger, school):
    first = actions.enqueue("ledger", 7, school.pk)
    assert actions.enqueue("ledger", 7, school.pk).pk == first.pk
    assert actions.enqueue("ledger", 7, school.pk, why="other").pk != first.pk
    actions.claim()
    assert actions.enqueue("ledger", 7, school.pk).pk != first.pk


def test_lower_priority_number_runs_first(ledger, school):
    for subject, priority in (("late", 5), ("soon", -1), ("usual", 0)):
        actions.enqueue("ledger", subject, school.pk, priority=priority)
    actions.run_waiting()
    assert ledger.worked == ["soon", "usual", "late"]


def test_a_late_result_is_refused(ledger, school):
    actions.enqueue("ledger", 7, school.pk)
    slow = actions.claim()
    Job.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert actions.sweep() == 1
    quick = actions.claim()
    assert quick.attempt == 2
    assert actions.finish(quick, lambda: ledger.applied.append("quick"))
    assert not actions.finish(slow, lambda: ledger.applied.append("slow"))
    assert ledger.applied == ["quick"]


def test_an_error_in_applying_leaves_nothing_half_done(ledger, school):
    actions.enqueue("ledger", 7, school.pk)
    job = actions.claim()

    def half() -> None:
        School.objects.update(name="half done")
        raise ValueError("on purpose")

    with pytest.raises(ValueError, match="on purpose"):
        actions.finish(job, half)
    job.refresh_from_db()
    school.refresh_from_db()
    assert (job.state, school.name) == (State.RUNNING, "Alderwick School")


def test_three_tries_then_failed_with_a_plain_message(ledger, school):
    ledger.trouble = RuntimeError("secret detail")
    job = actions.enqueue("ledger", 7, school.pk)
    assert actions.run_waiting() == 3
    job.refresh_from_db()
    assert (job.state, job.attempt, job.error) == (State.FAILED, 3, "It did not work.")
    assert ledger.failed == ["It did not work."]


def test_giving_up_is_final_and_says_why(ledger, school):
    ledger.trouble = GiveUp("The file is gone.")
    job = actions.enqueue("ledger", 7, school.pk)
    assert actions.run_waiting() == 1
    job.refresh_from_db()
    assert (job.state, job.error, ledger.failed) == (State.FAILED, "The file is gone.", ["The file is gone."])


def test_the_sweeper_leaves_a_living_worker_alone(ledger, school):
    actions.enqueue("ledger", 7, school.pk)
    actions.claim()
    assert actions.sweep() == 0


def test_a_dead_worker_of_this_machine_is_noticed_before_its_lease_ends(ledger, school):
    actions.enqueue("ledger", 7, school.pk)
    job = actions.claim()
    with subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"]) as child:
        Job.objects.update(worker=actions.worker_name(child.pid))
        assert actions.sweep() == 0
        child.kill()
    assert actions.sweep() == 1
    job.refresh_from_db()
    assert job.state == State.WAITING


@pytest.mark.parametrize("worker", ["", "elsewhere:12:34.5", "elsewhere:x:y"])
def test_workers_of_other_machines_are_never_called_dead(worker):
    assert not actions.is_gone(worker)


def test_our_own_process_lives():
    assert not actions.is_gone(actions.worker_name(os.getpid()))


def test_a_kind_nobody_knows_waits_for_a_newer_worker(school):
    Job.objects.create(kind="from the future", lane=Lane.PLAN, subject="1", school=school)
    assert actions.claim() is None


def test_one_kind_cannot_be_registered_twice(ledger):
    with pytest.raises(ValueError, match="registered twice"):
        register(Ledger().handler())


def test_of_eight_workers_one_gets_the_job(ledger, school, at_once):
    at_once(lambda: actions.enqueue("ledger", 7, school.pk).pk)
    claimed = at_once(*[actions.claim] * 8)
    assert [job for job in claimed if job is not None] == [job for job in claimed if isinstance(job, Job)]
    assert sorted(job.attempt for job in claimed if job is not None) == [1]


@pytest.mark.skipif(sys.platform != "linux", reason="threads have priorities of their own on Linux only")
def test_what_nobody_waits_for_gives_way() -> None:
    def steps(lane: str) -> int:
        found: list[int] = []

        def thread() -> None:
            loop.give_way(lane)
            found.append(os.getpriority(os.PRIO_PROCESS, threading.get_native_id()))

        one = threading.Thread(target=thread)
        one.start()
        one.join()
        return found[0] - os.getpriority(os.PRIO_PROCESS, 0)

    assert {lane: steps(lane) for lane in Lane.values} == {"measure": 0, "plan": 0, "consider": 10, "deliver": 0}
    assert loop.GIVES_WAY[Lane.CONSIDER] > child.GIVES_WAY > 0


def test_what_nobody_waits_for_rests_while_files_wait(school) -> None:
    """Better plans are looked for when the class's files are through, or after three minutes whatever still waits."""
    better = actions.enqueue("improve-plan", 1, school.pk)
    assert not actions.rests(Lane.CONSIDER)
    file = actions.enqueue("check-submission", 1, school.pk)
    assert actions.rests(Lane.CONSIDER)
    assert not actions.rests(Lane.MEASURE)
    Job.objects.filter(pk=better.pk).update(created_at=timezone.now() - actions.REST_MAX)
    assert not actions.rests(Lane.CONSIDER)
    Job.objects.filter(pk=better.pk).update(created_at=timezone.now())
    asked = actions.enqueue("what-if", 1, school.pk, priority=actions.SOMEBODY_WAITS)
    assert not actions.rests(Lane.CONSIDER), "somebody looks at the page"
    assert actions.claim(Lane.CONSIDER).pk == asked.pk
    assert actions.rests(Lane.CONSIDER)
    Job.objects.filter(pk=file.pk).update(state=Job.State.DONE)
    assert actions.claim(Lane.CONSIDER).pk == better.pk
