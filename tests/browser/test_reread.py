"""A wheel drawn in inches, in a real browser: one click reads the same upload again in the unit that was proposed."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from lessons.parts import wheel
from lessons.parts.files import stl_binary
from meshcheck.types import MM_PER_UNIT, Unit
from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
CHECK_MS = 60_000


def units_since(demo: Demo, submission: str) -> list[str]:
    """The unit of this upload and of every one after it."""
    with sqlite3.connect(f"file:{demo.folder / 'makerlab.sqlite3'}?mode=ro", uri=True) as database:
        rows = database.execute("SELECT unit FROM submissions_submission WHERE id >= ? ORDER BY id", (submission,))
        return [unit for (unit,) in rows]


def test_one_click_reads_the_same_file_in_the_proposed_unit(demo: Demo, browser: Browser, tmp_path: Path) -> None:
    vertices, faces = wheel()
    drawn = tmp_path / "wheel-in-inches.stl"
    drawn.write_bytes(stl_binary((vertices / MM_PER_UNIT[Unit.INCH], faces)))
    desk = open_desk(browser, demo, "student")
    page, main = desk.page, desk.page.locator("main")
    page.goto("/parts/")
    page.locator("input[type=file]").first.set_input_files(str(drawn))
    page.wait_for_url(re.compile(r"/submissions/\d+/"), timeout=CHECK_MS)
    address = page.url
    again = page.get_by_role("button", name="Read again in inches")
    expect(again).to_be_visible(timeout=CHECK_MS)
    expect(main).to_contain_text("probably drawn in inches")
    again.click()
    expect(main).to_contain_text("Read in inches, as you asked.", timeout=CHECK_MS)
    expect(main).to_contain_text("It can print", timeout=CHECK_MS)
    expect(main).to_contain_text(re.compile(r"60\.0\s*mm"))
    expect(main).to_contain_text("hole ⌀ 3.20 mm")
    expect(again).to_have_count(0)
    assert page.url.split("#")[0] == address.split("#")[0]  # the same upload: nothing was sent a second time
    submission = re.search(r"/submissions/(\d+)/", address)
    assert submission is not None
    assert units_since(demo, submission[1]) == ["inch"]
    assert desk.complaints == []
    # both reports draw their layers by themselves; a server that stops meanwhile would complain
    assert page.request.get(f"/submissions/{submission[1]}/layers/", timeout=CHECK_MS).ok
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(3000)
    page.context.close()
