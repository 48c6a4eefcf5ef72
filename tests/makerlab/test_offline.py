"""What a browser may keep for looking without a connection: a student's own pages, until the session ends."""

from __future__ import annotations

import time
from urllib.parse import unquote

import pytest
from django.conf import settings

from makerlab.accounts.middleware import SINCE
from makerlab.offline import FORGET, SAID, UNTIL

pytestmark = pytest.mark.django_db


def test_a_students_page_says_until_when_it_may_be_kept_and_what_to_say_then(world, client):
    client.force_login(world.student)
    answer = client.get("/parts/")
    assert int(answer[UNTIL]) == int(client.session[SINCE] + settings.STUDENT_SESSION_S)
    assert time.time() < int(answer[UNTIL]) <= time.time() + settings.STUDENT_SESSION_S
    assert unquote(answer[SAID]).startswith("No connection. This is the page as it stood at ")
    assert answer["Cache-Control"] == "private, no-store"
    assert FORGET not in answer


@pytest.mark.parametrize("name", ["teacher", "technician", "administrator"])
def test_no_page_of_staff_is_kept(world, client, name):
    client.force_login(getattr(world, name))
    answers = [client.get(url) for url in ("/lab/", "/bench/", "/lessons/")]
    assert [answer for answer in answers if UNTIL in answer or FORGET in answer] == []


def test_fragments_refusals_and_other_pages_are_not_kept(world, client):
    client.force_login(world.student)
    fragment = client.get("/parts/", headers={"HX-Request": "true"})
    boosted = client.get("/parts/", headers={"HX-Request": "true", "HX-Boosted": "true"})
    assert (UNTIL in fragment, UNTIL in boosted) == (False, True)
    assert [url for url in ("/submissions/999/", "/styleguide/", "/review/") if UNTIL in client.get(url)] == []


def test_a_page_for_nobody_makes_the_browser_forget(world, client):
    client.force_login(world.student)
    client.post("/sign-out/")
    assert [client.get(url).get(FORGET) for url in ("/parts/", "/sign-in/", "/sign-in/student/")] == ["1", "1", "1"]


def test_the_worker_lies_at_the_root_and_only_students_pages_name_it(world, client):
    answer = client.get("/offline.js")
    assert answer["Content-Type"] == "text/javascript"
    assert b"Makerlab-Forget" in answer.content
    assert b"data-worker" not in client.get("/sign-in/").content
    client.force_login(world.teacher)
    assert b"data-worker" not in client.get("/lessons/").content
    client.force_login(world.student)
    assert b'data-worker="/offline.js"' in client.get("/parts/").content
