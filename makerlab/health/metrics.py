"""Figures in Prometheus' text format. Of jobs and workers they are read from the database when asked for, so that any
one web process tells of all workers; of requests each web process counts its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from django.db import DatabaseError, connection
from django.db.models import Avg, Count, F, Max, Min
from django.utils import timezone
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    CollectorRegistry,
    Counter,
    Histogram,
    PlatformCollector,
    ProcessCollector,
    generate_latest,
)
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

from makerlab.work.beat import alive
from makerlab.work.lanes import Lane
from makerlab.work.line import mean_time
from makerlab.work.models import Job

CONTENT_TYPE = CONTENT_TYPE_LATEST
LOOKED_AT = timedelta(hours=1)
State = Job.State
REGISTRY = CollectorRegistry()
ProcessCollector(registry=REGISTRY)
PlatformCollector(registry=REGISTRY)
ANSWERS = Counter(
    "makerlab_http_responses", "Answers by page, method and status.", ["page", "method", "status"], registry=REGISTRY
)
SECONDS = Histogram(
    "makerlab_http_response_seconds", "Seconds from request to answer, by page.", ["page"],
    buckets=(0.05, 0.1, 0.25, 0.5, 1, 2.5, 10), registry=REGISTRY,
)  # fmt: skip


def observe(page: str, method: str, status: int, seconds: float) -> None:
    """Count one answer. ``page`` is the name of an address, so that the number of series has an end."""
    ANSWERS.labels(page, method, str(status)).inc()
    SECONDS.labels(page).observe(seconds)


def gauge(name: str, meaning: str, label: str, values: dict[str, float]) -> Metric:
    family = GaugeMetricFamily(name, meaning, labels=[label])
    for key, value in sorted(values.items()):
        family.add_metric([key], value)
    return family


class Work(Collector):
    """Jobs by lane and kind, and the workers, at the moment of asking."""

    def collect(self) -> Iterator[Metric]:
        yield from waiting()
        yield from last_hour()
        yield from workers()


def waiting() -> Iterator[Metric]:
    """What a scaler goes by: how many wait, and how long the first has waited."""
    now = timezone.now()
    jobs, oldest = dict.fromkeys(Lane.values, 0.0), dict.fromkeys(Lane.values, 0.0)
    running = dict.fromkeys(Lane.values, 0.0)
    rows = Job.objects.filter(state__in=(State.WAITING, State.RUNNING)).values("lane", "state")
    for row in rows.annotate(jobs=Count("pk"), first=Min("created_at")).order_by():
        if row["state"] == State.RUNNING:
            running[row["lane"]] = row["jobs"]
        else:
            jobs[row["lane"]] = row["jobs"]
            oldest[row["lane"]] = max(0.0, (now - row["first"]).total_seconds())
    yield gauge("makerlab_jobs_waiting", "Jobs that wait for a worker, by lane.", "lane", jobs)
    yield gauge("makerlab_jobs_oldest_waiting_seconds", "Age of the oldest waiting job, by lane.", "lane", oldest)
    yield gauge("makerlab_jobs_running", "Jobs being done, by lane: workers that are busy.", "lane", running)
    yield from expected(jobs, running)


def expected(jobs: dict[str, float], running: dict[str, float]) -> Iterator[Metric]:
    """How long what waits now will take, as the page tells a student; no figure for a lane that never finished one."""
    means = {lane: mean.total_seconds() for lane in Lane.values if (mean := mean_time(lane)) is not None}
    waits = {lane: mean * jobs[lane] / max(1.0, running[lane]) for lane, mean in means.items()}
    yield gauge("makerlab_lane_job_seconds", "Mean seconds of the lane's last 30 jobs.", "lane", means)
    yield gauge(
        "makerlab_jobs_expected_wait_seconds",
        "Until a job sent now starts, with as many workers as are busy, by lane.",
        "lane",
        waits,
    )


def last_hour() -> Iterator[Metric]:
    """Ends of the last hour. Rows are deleted with their school or class, so a total would fall."""
    ends = {"lane__in": Lane.values, "state__in": (State.DONE, State.FAILED)}  # so that an index finds them
    ended = Job.objects.filter(**ends, finished_at__gte=timezone.now() - LOOKED_AT, started_at__isnull=False)
    took = F("finished_at") - F("started_at")
    done, failed, mean, longest = {}, {}, {}, {}
    rows = ended.values("kind", "state").annotate(jobs=Count("pk"), mean=Avg(took), longest=Max(took)).order_by()
    for row in rows:
        if row["state"] == State.FAILED:
            failed[row["kind"]] = float(row["jobs"])
        elif row["state"] == State.DONE:
            done[row["kind"]] = float(row["jobs"])
            mean[row["kind"]] = row["mean"].total_seconds()
            longest[row["kind"]] = row["longest"].total_seconds()
    yield gauge("makerlab_jobs_done_last_hour", "Jobs done within an hour, by kind.", "kind", done)
    yield gauge("makerlab_jobs_failed_last_hour", "Jobs given up within an hour, by kind.", "kind", failed)
    yield gauge("makerlab_job_mean_seconds", "Mean seconds of the hour's jobs, last try only.", "kind", mean)
    yield gauge("makerlab_job_longest_seconds", "Longest of the hour's jobs, last try only.", "kind", longest)


def workers() -> Iterator[Metric]:
    now, living = timezone.now(), alive()
    by_lane = {lane: float(sum(lane in row.lanes for row in living)) for lane in Lane.values}
    yield gauge("makerlab_workers", "Workers heard of within a minute, by lane.", "lane", by_lane)
    newest = max((row.seen_at for row in living), default=None)
    if newest is not None:
        age = GaugeMetricFamily("makerlab_heartbeat_age_seconds", "Since the last heartbeat of any worker.")
        age.add_metric([], max(0.0, (now - newest).total_seconds()))
        yield age


def exposition() -> bytes:
    """The whole page. While the database is away the figures of requests alone, and a line that says so."""
    work = CollectorRegistry()
    up = GaugeMetricFamily("makerlab_database_up", "1 while the database answers.")
    try:
        metrics = list(Work().collect())
        up.add_metric([], 1.0)
    except DatabaseError:
        metrics = []
        up.add_metric([], 0.0)
    finally:
        connection.close_if_unusable_or_obsolete()
    work.register(_Made([*metrics, up]))
    return generate_latest(work) + generate_latest(REGISTRY)


class _Made(Collector):
    def __init__(self, metrics: list[Metric]) -> None:
        self._metrics = metrics

    def collect(self) -> list[Metric]:
        return self._metrics
