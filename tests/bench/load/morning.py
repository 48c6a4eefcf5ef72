"""A district's morning: the real lines of background work, by the clock of a simulation.

Jobs are enqueued, taken and finished by ``makerlab.work`` on a real database; only the work itself is not done: a
worker is busy for as long as the check of a file of that size takes, as measured by ``test_growth``. So what is
simulated is the day (who uploads what, and when), never the queue.
"""

from __future__ import annotations

import heapq
import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

import time_machine

from makerlab.work import actions
from makerlab.work.lanes import Lane
from makerlab.work.line import expected_wait, place_in_line
from makerlab.work.models import Job
from makerlab.work.registry import HANDLERS, Handler, register
from tests.bench.load.files import LEAST_BYTES, MOST_BYTES

KIND = "simulated-check"
BEGINS = datetime(2026, 11, 24, 13, 0, tzinfo=UTC)
LESSON_MIN, LESSONS, STUDENTS, RUSH_S = 50, 5, 30, 60.0
# share of a lesson's files that come within a minute of its bell; the others come later in it. Our own guess, no source
AT_THE_BELL = 0.5


@dataclass(frozen=True)
class Upload:
    """``at_s``: from the morning's begin; ``work_s``: seconds of a core its check takes."""

    at_s: float
    school: int
    work_s: float


@dataclass
class Told:
    """Seconds of one upload: ``waited_s`` from its coming to its verdict; ``expected_s`` what its page said when it
    came, None where nothing was known yet."""

    upload: Upload
    waited_s: float = 0.0
    expected_s: float | None = None


@dataclass
class Morning:
    """What became of the uploads, in the order of their verdicts, and how busy the workers were."""

    workers: int
    told: list[Told] = field(default_factory=list)
    ends_s: float = 0.0

    @property
    def busy(self) -> float:
        """Share of the workers' time until the last verdict."""
        return sum(each.upload.work_s for each in self.told) / (self.workers * self.ends_s)

    def waits(self, schools: Sequence[int] | None = None) -> list[float]:
        """Of the uploads of these schools, or of all."""
        return [each.waited_s for each in self.told if schools is None or each.upload.school in schools]


def seconds_of_check(checks: Sequence[Mapping[str, float]]) -> Callable[[float], float]:
    """Bytes of a file to seconds of its check, straight between the measured sizes on logarithmic scales, and in
    proportion beyond them. ``checks``: rows of growth.json."""
    points = sorted((math.log(row["megabytes"] * 1e6), math.log(row["s"])) for row in checks)

    def seconds(size: float) -> float:
        at = math.log(size)
        high = min(max(bisect_left(points, (at, -math.inf)), 1), len(points) - 1)
        (x0, y0), (x1, y1) = points[high - 1], points[high]
        return math.exp(y0 + (y1 - y0) * (at - x0) / (x1 - x0))

    return seconds


def lessons(schools: int, seconds: Callable[[float], float], seed: int) -> list[Upload]:
    """A morning in which every school has one lesson of this kind in each of five periods on the average; bells are
    their own in each school. Sizes as at the bell of the rush: even by their logarithm."""
    dice = Random(seed)
    found = []
    for school in range(schools):
        first_s = dice.uniform(0, 30 * 60)
        for period in range(LESSONS):
            for _class in range(dice.choice((0, 1, 1, 2))):
                bell_s = first_s + period * LESSON_MIN * 60
                for _student in range(STUDENTS):
                    within_s = RUSH_S if dice.random() < AT_THE_BELL else LESSON_MIN * 60 * 0.8
                    size = LEAST_BYTES * (MOST_BYTES / LEAST_BYTES) ** dice.random()
                    found.append(Upload(bell_s + dice.uniform(0, within_s), school, seconds(size)))
    return sorted(found, key=lambda upload: upload.at_s)


def flood(school: int, count: int, at_s: float, work_s: float) -> list[Upload]:
    """One school sends so many files within a minute."""
    return [Upload(at_s + RUSH_S * number / count, school, work_s) for number in range(count)]


@contextmanager
def simulated_kind() -> Iterator[None]:
    """A kind of job whose work is never called."""

    def never(job: Job) -> Callable[[], None]:
        raise AssertionError("the work is simulated")

    register(Handler(KIND, Lane.MEASURE, 120, never, lambda job, message: None, "It did not work."))
    try:
        yield
    finally:
        del HANDLERS[KIND]


def simulate(uploads: Sequence[Upload], school_ids: Sequence[int], workers: int) -> Morning:
    """Let the workers take the uploads as ``makerlab.work`` hands them out. Wants a database and ``simulated_kind``."""
    morning = Morning(workers)
    by_job: dict[int, Told] = {}
    ended: list[tuple[float, int, Job]] = []  # of the checks being done
    coming, idle = iter(uploads), workers
    upload = next(coming, None)
    with time_machine.travel(BEGINS, tick=False) as clock:
        while upload is not None or ended:
            if ended and (upload is None or ended[0][0] <= upload.at_s):
                now_s, _place, job = heapq.heappop(ended)
                clock.move_to(BEGINS + timedelta(seconds=now_s))
                actions.finish(job, lambda: None)
                told = by_job[job.pk]
                told.waited_s = now_s - told.upload.at_s
                morning.told.append(told)
                idle += 1
            elif upload is not None:
                now_s = upload.at_s
                clock.move_to(BEGINS + timedelta(seconds=now_s))
                job = actions.enqueue(KIND, len(by_job), school_ids[upload.school])
                by_job[job.pk] = Told(upload, expected_s=_expected_s(job, upload))
                upload = next(coming, None)
            while idle and (taken := actions.claim(Lane.MEASURE)) is not None:
                idle -= 1
                heapq.heappush(ended, (now_s + by_job[taken.pk].upload.work_s, taken.pk, taken))
            morning.ends_s = now_s
    return morning


def _expected_s(job: Job, upload: Upload) -> float | None:
    """What the page says when the file has come, and its own check after that."""
    wait = expected_wait(job, place_in_line(job))
    return None if wait is None else wait.total_seconds() + upload.work_s


def in_order_of_arrival(uploads: Sequence[Upload], workers: int) -> Morning:
    """The peer: one line for everybody, first come, first served. Each upload starts when it has come and a worker is
    free (the recursion of D. V. Lindley, 1952, for one worker, and of J. Kiefer and J. Wolfowitz, 1955, for several;
    both cited from memory)."""
    morning = Morning(workers)
    free_s = [0.0] * workers
    for upload in uploads:
        end_s = max(upload.at_s, heapq.heappop(free_s)) + upload.work_s
        heapq.heappush(free_s, end_s)
        morning.told.append(Told(upload, end_s - upload.at_s))
        morning.ends_s = max(morning.ends_s, end_s)
    return morning


def by_school(morning: Morning) -> dict[int, list[float]]:
    """Waits by school."""
    found = defaultdict(list)
    for each in morning.told:
        found[each.upload.school].append(each.waited_s)
    return dict(found)
