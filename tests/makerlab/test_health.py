"""Probes, marks, figures and the page of an error nobody caught."""

from __future__ import annotations

import json
import logging
import re
from datetime import timedelta

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from makerlab.accounts.models import School
from makerlab.health import ready
from makerlab.health.marks import HEADER, mark_for
from makerlab.work import beat
from makerlab.work.lanes import Lane
from makerlab.work.models import Heartbeat, Job

pytestmark = pytest.mark.django_db
TOKEN = "a token of the test, long enough"


@pytest.fixture(autouse=True)
def _look_anew(monkeypatch):
    monkeypatch.setattr(ready, "_last", (float("-inf"), {}))


@pytest.fixture
def working(db) -> None:
    beat.beat(Lane.values)


def get(path: str, **headers: str):
    """From a machine beside us: by an address we do not know as a host name, without TLS, without a session."""
    return Client(headers=headers).get(path, SERVER_NAME="10.0.0.7")


@pytest.mark.parametrize("https", [False, True])
def test_probes_answer_to_any_host_without_sign_in_and_set_no_cookie(working, settings, https):
    settings.SECURE_SSL_REDIRECT = https
    for path, said in (
        ("/livez", {"live": True}),
        ("/readyz", {"ready": True, "database": "ok", "storage": "ok", "worker": "ok"}),
    ):
        answer = get(path)
        assert (answer.status_code, json.loads(answer.content)) == (200, said)
        assert answer["Content-Type"] == "application/json"
        assert answer["Cache-Control"] == "no-store"
        assert not answer.cookies
        assert Client().post(path).status_code == 405


def test_alive_asks_nothing_of_the_database(monkeypatch, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert get("/livez").status_code == 200


def test_not_ready_without_a_worker_and_each_lane_counts(db):
    answer = get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["worker"] == "nobody serves measure, plan, consider, deliver"
    beat.beat([Lane.MEASURE, Lane.PLAN])
    assert ready.look(again=True)["worker"] == "nobody serves consider, deliver"
    assert get("/readyz").status_code == 503
    assert Client().get("/readyz?without=worker").status_code == 200


def test_a_worker_silent_for_a_minute_or_gone_counts_no_more(working):
    assert beat.lanes_without_worker() == []
    Heartbeat.objects.update(seen_at=timezone.now() - timedelta(seconds=beat.ALIVE_S + 1))
    assert beat.lanes_without_worker() == Lane.values
    beat.beat(Lane.values)
    name = Heartbeat.objects.get().worker
    Heartbeat.objects.update(worker=name.rsplit(":", 1)[0] + ":1.00")  # the process id was given to another one
    assert beat.lanes_without_worker() == Lane.values


def test_a_worker_that_stops_in_order_leaves(working):
    beat.leave()
    assert not Heartbeat.objects.exists()


def test_not_ready_while_the_database_is_away_and_no_word_of_where(working, monkeypatch):
    def away():
        raise OperationalError('connection to server at "10.1.2.3", user "lab" failed')

    monkeypatch.setattr(connection, "cursor", away)
    answer = get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["database"] == "not reached"
    assert b"10.1.2.3" not in answer.content
    assert get("/livez").status_code == 200


def test_not_ready_while_files_cannot_be_written(working, settings, tmp_path):
    settings.MEDIA_ROOT = str(tmp_path / "file" / "media")
    (tmp_path / "file").write_text("in the way")
    answer = get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["storage"] == "cannot be written to: Not a directory"


def test_asking_often_costs_nothing(working, django_assert_num_queries):
    get("/readyz")
    with django_assert_num_queries(0):
        assert get("/readyz").status_code == 200


def test_every_answer_tells_the_number_of_its_request(client):
    given = "0af7651916cd43dd-7"
    assert client.get("/sign-in/", headers={HEADER: given})[HEADER] == given
    made = {client.get("/sign-in/")[HEADER] for _ in range(3)}
    assert len(made) == 3
    assert all(re.fullmatch("[0-9a-f]{16}", number) for number in made)


@pytest.mark.parametrize("given", ["", "short", "Pip Alder was here", "12345678\nlevel=ERROR", "x" * 65, "<b>12345678"])
def test_a_number_that_could_spoil_a_log_is_not_taken(given):
    assert mark_for(given) != given
    assert re.fullmatch("[0-9a-f]{16}", mark_for(given))


def test_the_page_of_an_error_shows_the_number_the_log_has(monkeypatch, caplog):
    with caplog.at_level(logging.ERROR, "makerlab.request"):
        answer = breaks(Client(raise_request_exception=False), monkeypatch)
    assert answer.status_code == 500
    number = answer["Makerlab-Incident"]
    assert re.fullmatch("[0-9a-f]{8}", number)
    assert f"<code>{number}</code>" in answer.content.decode()
    (record,) = [record for record in caplog.records if hasattr(record, "incident")]
    assert record.incident == number
    assert record.exc_info


def breaks(client: Client, monkeypatch):
    """An error in a page's view, as a programming error would be."""

    def trouble(*args, **kwargs):
        raise ValueError("Pip typed this")

    monkeypatch.setattr("makerlab.views.set_language", trouble)
    return client.post("/language/", {"language": "en"})


@pytest.mark.parametrize("sent", [None, "Bearer wrong", f"bearer {TOKEN}", TOKEN, f"Bearer {TOKEN} "])
def test_without_the_token_there_is_no_page_of_figures(settings, sent):
    settings.METRICS_TOKEN = TOKEN
    headers = {"Authorization": sent} if sent else {}
    answer = get("/metrics", **headers)
    assert (answer.status_code, answer.content) == (404, b"")


def test_without_a_token_set_up_nobody_gets_figures(settings):
    settings.METRICS_TOKEN = ""
    assert get("/metrics", Authorization="Bearer ").status_code == 404


def figures(settings) -> dict[tuple[str, tuple[str, ...]], float]:
    """Read back by the reader of the reference library."""
    settings.METRICS_TOKEN = TOKEN
    answer = get("/metrics", Authorization=f"Bearer {TOKEN}")
    assert answer.status_code == 200
    families = text_string_to_metric_families(answer.content.decode())
    return {(s.name, tuple(sorted(s.labels.values()))): s.value for family in families for s in family.samples}


def test_figures_of_jobs_are_those_of_the_rows(working, settings):
    school = School.objects.create(name="Alderwick School")
    now = timezone.now()
    for lane, age in (("measure", 90), ("measure", 10), ("plan", 5)):
        job = Job.objects.create(kind="check-submission", lane=lane, subject=str(age), school=school)
        Job.objects.filter(pk=job.pk).update(created_at=now - timedelta(seconds=age))
    for took, state in ((2, "done"), (4, "done"), (9, "failed")):
        started = now - timedelta(minutes=5)
        Job.objects.create(
            kind="check-submission", lane="measure", subject="0", school=school, state=state,
            started_at=started, finished_at=started + timedelta(seconds=took),
        )  # fmt: skip
    found = figures(settings)
    assert found["makerlab_jobs_waiting", ("measure",)] == 2
    assert found["makerlab_jobs_waiting", ("plan",)] == 1
    assert found["makerlab_jobs_waiting", ("consider",)] == 0
    assert found["makerlab_jobs_oldest_waiting_seconds", ("measure",)] == pytest.approx(90, abs=30)
    assert found["makerlab_jobs_done_last_hour", ("check-submission",)] == 2
    assert found["makerlab_jobs_failed_last_hour", ("check-submission",)] == 1
    assert found["makerlab_job_mean_seconds", ("check-submission",)] == pytest.approx(3)
    assert found["makerlab_job_longest_seconds", ("check-submission",)] == pytest.approx(4)
    assert found["makerlab_lane_job_seconds", ("measure",)] == pytest.approx(3)
    assert found["makerlab_jobs_expected_wait_seconds", ("measure",)] == pytest.approx(2 * 3)
    assert ("makerlab_jobs_expected_wait_seconds", ("plan",)) not in found  # none was finished: nobody knows
    assert found["makerlab_workers", ("plan",)] == 1
    assert found["makerlab_heartbeat_age_seconds", ()] < 60
    assert found["makerlab_database_up", ()] == 1


def test_more_busy_workers_make_the_expected_wait_shorter(working, settings):
    """What a scaler goes by: 12 jobs of 10 s each are a minute for two workers and half of one for four."""
    school = School.objects.create(name="Alderwick School")
    now = timezone.now()

    def job(**values) -> None:
        Job.objects.create(kind="check-submission", lane="measure", school=school, **values)

    for number in range(12):
        job(subject=str(number))
    job(subject="20", state="done", started_at=now - timedelta(seconds=10), finished_at=now)
    for number in range(2):
        job(subject=str(30 + number), state="running", lease_until=now + timedelta(minutes=1))
    assert figures(settings)["makerlab_jobs_expected_wait_seconds", ("measure",)] == pytest.approx(60)
    for number in range(2):
        job(subject=str(40 + number), state="running", lease_until=now + timedelta(minutes=1))
    found = figures(settings)
    assert found["makerlab_jobs_running", ("measure",)] == 4
    assert found["makerlab_jobs_expected_wait_seconds", ("measure",)] == pytest.approx(30)


def test_figures_of_answers_count_pages_by_name_not_by_path(world, client, settings):
    before = figures(settings)
    client.get("/sign-in/")
    client.get("/Pip-was-here/")
    after = figures(settings)
    key = ("makerlab_http_responses_total", ("200", "GET", "accounts:sign-in"))
    assert after[key] == before.get(key, 0) + 1
    assert not [name for name in after if "Pip" in str(name)]


def test_figures_are_there_while_the_database_is_away(settings, monkeypatch):
    def away(*args, **kwargs):
        raise OperationalError("away")

    monkeypatch.setattr("makerlab.health.metrics.waiting", away)
    assert figures(settings)["makerlab_database_up", ()] == 0
