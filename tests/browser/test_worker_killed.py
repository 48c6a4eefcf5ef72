"""kill -9 of the worker in the middle of a check: the supervisor starts another one, which does the check once."""

from __future__ import annotations

import os
import signal
import sqlite3
import time

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import Demo, open_desk
from tests.browser.files import fine_wheel

pytestmark = [pytest.mark.browser, pytest.mark.slow]
NEWEST = "SELECT id, state, attempt FROM work_job WHERE kind = 'check-submission' ORDER BY id DESC LIMIT 1"


def newest_job(demo: Demo) -> tuple[int, str, int]:
    with sqlite3.connect(f"file:{demo.folder / 'makerlab.sqlite3'}?mode=ro", uri=True) as database:
        row: tuple[int, str, int] = database.execute(NEWEST).fetchone()
    return row


def wait_until(demo: Demo, job_after: int, state: str, seconds: float) -> tuple[int, str, int]:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        job = newest_job(demo)
        if job[0] > job_after and job[1] == state:
            return job
        time.sleep(0.02)
    raise AssertionError(f"job is {newest_job(demo)} and not {state} after {seconds} s")


def test_a_check_survives_kill_9_of_the_worker(demo: Demo, browser: Browser, tmp_path):
    desk = open_desk(browser, demo, "student")
    before = newest_job(demo)[0]
    path = fine_wheel(tmp_path / "fine-wheel.stl")
    desk.page.goto("/parts/")
    desk.page.locator("input[type=file]").first.set_input_files(str(path))
    wait_until(demo, before, "running", 60)
    killed = demo.worker_pid()
    os.kill(killed, signal.SIGKILL)
    job = wait_until(demo, before, "done", 180)
    assert job[2] == 2  # the first attempt died, the second was applied
    assert demo.worker_pid() != killed
    desk.page.goto("/parts/")
    desk.page.get_by_role("link", name="report").first.click()
    expect(desk.page.locator("h1")).to_contain_text("ersion")
    expect(desk.page.locator("body")).to_contain_text("hole")
    with sqlite3.connect(f"file:{demo.folder / 'makerlab.sqlite3'}?mode=ro", uri=True) as database:
        twice = database.execute("SELECT COUNT(*) FROM work_job WHERE id > ? AND kind = 'check-submission'", (before,))
        assert twice.fetchone()[0] == 1
    desk.page.context.close()
