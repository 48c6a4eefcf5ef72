"""A page put in place of another brings its own style sheets and modules: after an upload the part turns at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from lessons.parts import wheel
from lessons.parts.files import stl_binary
from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
CHECK_MS = 60_000


def test_an_uploaded_part_turns_in_3d_without_loading_the_page_again(demo: Demo, browser: Browser, tmp_path: Path):
    vertices, faces = wheel()
    drawn = tmp_path / "wheel.stl"
    drawn.write_bytes(stl_binary((vertices * [1.0, 1.0, 1.07], faces)))  # not the bytes of any other test
    desk = open_desk(browser, demo, "student")
    page = desk.page
    page.goto("/parts/")
    page.evaluate("window.samePage = true")
    page.locator("input[type=file]").first.set_input_files(str(drawn))
    page.wait_for_url(re.compile(r"/submissions/\d+/"), timeout=CHECK_MS)
    canvas = page.locator("[data-view-canvas]")
    expect(canvas).to_be_attached(timeout=CHECK_MS)
    canvas.scroll_into_view_if_needed()
    expect(canvas).to_be_visible(timeout=CHECK_MS)
    assert page.evaluate("window.samePage") is True  # the page was not loaded anew
    assert page.locator("[data-view-stage]").evaluate("stage => getComputedStyle(stage).position") == "relative"
    sheets = page.locator("head link[rel=stylesheet]").evaluate_all("links => links.map((link) => link.href)")
    assert len(sheets) == len(set(sheets))
    assert [sheet for sheet in sheets if "viewer" in sheet]
    assert [sheet for sheet in sheets if "submissions" in sheet]
    page.locator("summary", has_text="Mouse, fingers and keys").click()
    canvas.focus()
    page.keyboard.press("ArrowLeft")
    assert desk.complaints == []
    page.wait_for_load_state("networkidle")  # the layers draw themselves
    page.context.close()
