"""A page that stands open asks by itself whether anything is new, with the seal it was given, and shows what is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Response, expect

from lessons.parts import wheel
from lessons.parts.files import stl_binary
from makerlab.news import NEWS
from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
ASKS_MS, CHECK_MS = 40_000, 60_000


def is_question(answer: Response) -> bool:
    return "since=" in answer.url


def test_an_open_page_asks_with_its_seal_and_shows_what_a_team_mate_did(
    demo: Demo, browser: Browser, tmp_path: Path
) -> None:
    vertices, faces = wheel()
    drawn = tmp_path / "thicker.stl"
    drawn.write_bytes(stl_binary((vertices * (1.0, 1.0, 1.03), faces)))
    desk, mate = open_desk(browser, demo, "student"), open_desk(browser, demo, "student")
    desk.page.goto("/parts/")
    before = desk.page.locator("#where").inner_text()
    with desk.page.expect_response(is_question, timeout=ASKS_MS) as asked:
        pass
    assert asked.value.request.headers.get(NEWS.lower(), "").startswith("parts ")
    assert asked.value.status == 204
    mate.page.goto("/parts/")
    mate.page.locator("input[type=file]").first.set_input_files(str(drawn))
    mate.page.wait_for_url(re.compile(r"/submissions/\d+/"), timeout=CHECK_MS)
    expect(desk.page.locator("#where")).not_to_have_text(before, timeout=ASKS_MS)
    with desk.page.expect_response(is_question, timeout=ASKS_MS) as again:
        pass
    assert again.value.request.headers.get(NEWS.lower(), "").startswith("parts ")
    assert desk.complaints == mate.complaints == []
    desk.page.context.close()
    mate.page.context.close()
