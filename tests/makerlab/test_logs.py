"""Log lines: one JSON object each, with the request's number, and nothing about anybody in a whole journey."""

from __future__ import annotations

import io
import json
import logging
import logging.config
from collections.abc import Iterator

import pytest
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse

from lessons.models import Membership
from makerlab.accounts.models import User
from makerlab.health.logs import JsonLine, Line, Marked, configuration, told
from makerlab.health.marks import HEADER
from makerlab.work.actions import run_waiting
from submissions.models import Submission
from tests.makerlab.test_health import breaks
from tests.submissions.make import stl_upload
from tests.world import PASSWORD, PIN, make_student

pytestmark = pytest.mark.django_db
FILE = "zephyrine-secret-wheel.stl"
NICK, STAFF = "Quillonne", "vandermeeren"


@pytest.fixture
def lines(settings) -> Iterator[io.StringIO]:
    """Everything any logger says from DEBUG on, but for the tests' own tools, in the form machines gather."""
    logging.config.dictConfig(configuration("json"))
    root = logging.getLogger()
    levels = {name: logging.getLogger(name).level for name in ("", "django", "makerlab", "axes", "django.request")}
    text = io.StringIO()
    handler = logging.StreamHandler(text)
    handler.setFormatter(JsonLine())
    handler.addFilter(Marked())
    before, root.handlers = root.handlers, [handler]
    root.setLevel(logging.INFO)
    yield text
    root.handlers = before
    for name, level in levels.items():
        logging.getLogger(name).setLevel(level)
    logging.config.dictConfig(configuration("text"))


def sign_in(client: Client, code: str, nickname: str, pin: str):
    pictures = {f"picture{place}": name for place, name in enumerate(pin.split(","), start=1)}
    return client.post("/sign-in/student/", {"class_code": code, "nickname": nickname, **pictures})


def test_a_whole_journey_leaves_no_name_in_the_log(world, lines, monkeypatch):
    pupil = make_student(world.school_class, world.team, NICK)
    world.team.name = "Thunderquokkas"
    world.team.save()
    User.objects.create_staff(world.school, STAFF, "technician", PASSWORD, "Mx Vandermeeren")
    client = Client(raise_request_exception=False)
    code = world.school_class.code
    assert sign_in(client, code, NICK, "tray,tray,tray,tray").status_code == 422
    assert sign_in(client, code, NICK, PIN).status_code == 302
    path = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    for content in (b"solid nothing at all", b""):
        client.post(path, {"file": stl_upload(content, FILE)})
    run_waiting()
    assert Submission.objects.filter(assignment=world.assignment).count() == 1
    client.get(f"/{NICK}/")
    client.get("/parts/", {"look": NICK})
    client.post("/parts/", {"nickname": NICK})
    strict = Client(enforce_csrf_checks=True)
    strict.post("/sign-in/student/", {"nickname": NICK})
    Client().get("/", SERVER_NAME=f"{NICK.lower()}.example")
    Client().post("/sign-in/", {"username": STAFF, "password": "wrong-" + PASSWORD})
    for _ in range(12):
        Client().post("/sign-in/", {"username": STAFF, "password": "wrong again"})
    assert breaks(client, monkeypatch).status_code == 500

    def doubled(*args, **kwargs):
        Membership.objects.create(school_class=world.school_class, user=pupil, team=world.team, nickname=NICK)

    monkeypatch.setattr("makerlab.views.set_language", doubled)
    assert client.post("/language/", {"language": "en"}).status_code == 500
    client.post(reverse("accounts:sign-out"))

    text = lines.getvalue()
    rows = [json.loads(line) for line in text.splitlines()]
    print(f"{len(rows)} lines of log of one journey")
    assert len(rows) > 20
    pages = {row.get("page") for row in rows}
    assert {"submissions:submission-create", "lessons:student-sign-in", "unknown", "language"} <= pages
    assert {row["kind"] for row in rows if "kind" in row} >= {"check-submission"}
    for secret in (
        NICK,
        FILE,
        "zephyrine",
        STAFF,
        "vandermeeren",
        PASSWORD,
        "wrong",
        PIN,
        code,
        "quokka",
        "typed this",
    ):
        assert secret.lower() not in text.lower(), secret


def test_an_answer_and_what_led_to_it_carry_the_same_number(world, lines, monkeypatch):
    answer = breaks(Client(raise_request_exception=False), monkeypatch)
    rows = [json.loads(line) for line in lines.getvalue().splitlines()]
    assert {row["request_id"] for row in rows} == {answer[HEADER]}
    (broke,) = [row for row in rows if row.get("incident") == answer["Makerlab-Incident"]]
    assert broke["error"] == "ValueError"
    assert any("trouble" in line and "test_health.py" in line for line in broke["trace"])


def test_an_error_is_told_without_what_somebody_typed():
    detail = 'duplicate key value violates unique constraint "one"\nDETAIL:  Key (nickname)=(Pip) already exists.'
    assert told(IntegrityError(detail)) == 'IntegrityError: duplicate key value violates unique constraint "one"'
    assert told(OSError(28, "No space left on device", "/media/pip.stl")) == "OSError: No space left on device"
    assert told(ValueError("Pip")) == "ValueError"


def test_plain_lines_are_one_to_a_message():
    record = logging.LogRecord("makerlab", logging.INFO, __file__, 1, "%s done", ("all",), None)
    Marked().filter(record)
    assert Line().format(record).endswith(" INFO makerlab all done")


@pytest.mark.parametrize("form", ["text", "json"])
def test_both_forms_can_be_set_up(form):
    logging.config.dictConfig(configuration(form))
    assert logging.getLogger().handlers[0].formatter is not None
    logging.config.dictConfig(configuration("text"))
